"""What follows from readings, services and samples; everything here can be computed again."""

from datetime import date, datetime

from sqlalchemy import Column, Index, text
from sqlmodel import JSON, Field, SQLModel

from service.store.types import UtcDateTime, belongs_to


class CompartmentState(SQLModel, table=True):
    """State of the fluid in a compartment after the last event, and where its hard schedule starts."""

    __tablename__ = "compartment_state"
    __table_args__ = (
        belongs_to("compartment", "compartment_id", cascade=True),
        Index("ix_compartment_state_vehicle", "organisation_id", "vehicle_id"),
        Index(
            "ix_compartment_state_contaminated",
            "organisation_id",
            sqlite_where=text("is_contaminated = 1"),
            postgresql_where=text("is_contaminated"),
        ),
    )

    compartment_id: int = Field(primary_key=True)
    organisation_id: int
    vehicle_id: int
    fluid: bytes
    """A record `FLUID` (`store.records`)."""

    is_contaminated: bool = False
    is_sampled: bool = False
    """The life used rests on a sample, not on the model alone."""

    is_history_known: bool = True
    """Somebody told of a full change; without one, half of life and interval are taken as gone."""

    schedule_on: date | None = None
    """Civil date from which months count: the last full-equivalent service, moved by partial ones."""

    schedule_odometer_km: float | None = None
    schedule_engine_hours: float | None = None
    due_on: date | None = None
    due_odometer_km: float | None = None
    due_engine_hours: float | None = None
    """Where each limit of the hard schedule is reached, or a return visit that comes before it."""

    return_on: date | None = None
    return_odometer_km: float | None = None
    return_rounds: int | None = None
    """An accepted return visit that is still to come."""

    fresh_fraction: float = 0.0
    """Share of the charge put in at the last service."""

    n_events: int = 0


class UsageModel(SQLModel, table=True):
    """How an organisation's vehicles are used, fitted from their readings."""

    __tablename__ = "usage_model"

    organisation_id: int = Field(primary_key=True, foreign_key="organisation.id")
    fitted_at: datetime = Field(sa_type=UtcDateTime)
    n_vehicles: int
    hyperparameters: dict[str, dict[str, float]] = Field(sa_column=Column(JSON, nullable=False))
    """By class."""

    shared_log_sd: float | None = None
    """Log standard deviation of the use of the whole fleet from one period to the next; none: as assumed of any."""

    log_rate_by_class: dict[str, float] = Field(sa_column=Column(JSON, nullable=False))
    log_rate_sd_by_class: dict[str, float] = Field(sa_column=Column(JSON, nullable=False))
    season_by_class: dict[str, list[float]] = Field(sa_column=Column(JSON, nullable=False))
    """Sine and cosine coefficients of the yearly season, two harmonics each, and seven factors of the week."""


class Projection(SQLModel, table=True):
    """When the fluids of a vehicle are due, as of one run."""

    __tablename__ = "projection"
    __table_args__ = (
        belongs_to("vehicle", "vehicle_id", cascade=True),
        # Every run changes every row and no column of an index: with room beside it no index has to follow.
        {"postgresql_with": {"fillfactor": 50}},
    )

    vehicle_id: int = Field(primary_key=True)
    organisation_id: int
    as_of: datetime = Field(sa_type=UtcDateTime)
    odometer_q10_km: float | None = None
    odometer_q50_km: float | None = None
    odometer_q90_km: float | None = None
    figures: bytes
    """A record `FIGURES` (`store.records`) for each compartment that was there, in the order of their keys."""
