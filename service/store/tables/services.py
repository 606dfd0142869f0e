"""Work done and fluid looked at."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, text
from sqlmodel import JSON, Field, SQLModel

from service.domain import plausibility
from service.domain.exchange_methods import ExchangeMethod
from service.store.types import UtcDateTime, belongs_to, one_of, within


class Service(SQLModel, table=True):
    """One visit's work on a vehicle."""

    __tablename__ = "service"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        belongs_to("vehicle", "vehicle_id", cascade=True),
        Index("ix_service_vehicle", "organisation_id", "vehicle_id", "done_at"),
        Index(
            "uq_service_reference",
            "organisation_id",
            "reference",
            unique=True,
            sqlite_where=text("voided_at IS NULL"),
            postgresql_where=text("voided_at IS NULL"),
        ),
        within("odometer_km", plausibility.ODOMETER_KM),
        within("engine_hours", plausibility.ENGINE_HOURS),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    vehicle_id: int
    done_at: datetime = Field(sa_type=UtcDateTime)
    utc_offset_minutes: int = 0
    odometer_km: float | None = None
    engine_hours: float | None = None
    done_by: str | None = Field(default=None, max_length=80)
    note: str | None = Field(default=None, max_length=4000)
    reference: str | None = Field(default=None, max_length=80)
    """The sender's own id; free again when the service is voided."""

    recorded_at: datetime = Field(sa_type=UtcDateTime)
    recorded_by: str = Field(max_length=80)
    voided_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """A service recorded by mistake is voided, never deleted."""


class ServiceItem(SQLModel, table=True):
    """What was done to one compartment."""

    __tablename__ = "service_item"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        belongs_to("service", "service_id", cascade=True),
        belongs_to("compartment", "compartment_id", cascade=True),
        belongs_to("fluid", "fluid_id"),
        Index("ix_service_item_compartment", "organisation_id", "compartment_id"),
        one_of("method", ExchangeMethod, "method"),
        within("level_celsius", plausibility.FLUID_CELSIUS),
        within("excess_drained_litres", plausibility.EXCHANGED_LITRES),
        within("passed_litres", plausibility.EXCHANGED_LITRES),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    service_id: int
    compartment_id: int
    fluid_id: int | None = None
    method: str = Field(max_length=24)
    passed_litres: float | None = None
    """Fresh fluid passed through in a line exchange."""

    level_celsius: float | None = None
    excess_drained_litres: float | None = None
    counter_reset: bool | None = None
    seals_renewed: bool | None = None
    old_fluid_grade: str | None = Field(default=None, max_length=16)
    override_reason: str | None = Field(default=None, max_length=400)
    """Why a rule was set aside, for instance a fluid outside the specification."""


class Round(SQLModel, table=True):
    """One drain and one fill."""

    __tablename__ = "round"
    __table_args__ = (
        UniqueConstraint("organisation_id", "item_id", "number"),
        belongs_to("service_item", "item_id", cascade=True),
        within("drained_litres", plausibility.EXCHANGED_LITRES),
        within("filled_litres", plausibility.EXCHANGED_LITRES),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    item_id: int
    number: int
    drained_litres: float
    filled_litres: float


class Sample(SQLModel, table=True):
    """A look at the fluid in a compartment: a visual grade or laboratory values."""

    __tablename__ = "sample"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        Index(
            "uq_sample_reference",
            "organisation_id",
            "compartment_id",
            "source",
            "reference",
            unique=True,
            sqlite_where=text("voided_at IS NULL"),
            postgresql_where=text("voided_at IS NULL"),
        ),
        belongs_to("compartment", "compartment_id", cascade=True),
        Index("ix_sample_compartment", "organisation_id", "compartment_id", "taken_at"),
        within("odometer_km", plausibility.ODOMETER_KM),
        CheckConstraint("grade IS NOT NULL OR has_values", name="says_something"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    compartment_id: int
    taken_at: datetime = Field(sa_type=UtcDateTime)
    utc_offset_minutes: int = 0
    odometer_km: float | None = None
    engine_hours: float | None = None
    grade: str | None = Field(default=None, max_length=16)
    has_values: bool = False
    laboratory: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Property → value in the property's own unit."""

    new_values: dict[str, float] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """The same of the new fluid, if the laboratory gave them."""

    is_contaminated: bool = False
    source: str = Field(default="api", max_length=40)
    reference: str | None = Field(default=None, max_length=80)
    note: str | None = Field(default=None, max_length=4000)
    recorded_at: datetime = Field(sa_type=UtcDateTime)
    recorded_by: str = Field(max_length=80)
    voided_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class ReturnVisit(SQLModel, table=True):
    """A plan that somebody accepted: come back for further rounds after a distance or by a day."""

    __tablename__ = "return_visit"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        belongs_to("compartment", "compartment_id", cascade=True),
        Index("ix_return_visit_compartment", "organisation_id", "compartment_id", "id"),
        within("due_odometer_km", plausibility.ODOMETER_KM),
        within("n_rounds", plausibility.ROUNDS),
        CheckConstraint("due_on IS NOT NULL OR due_odometer_km IS NOT NULL", name="says_when"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    compartment_id: int
    n_rounds: int
    due_on: date | None = None
    due_odometer_km: float | None = None
    """On the vehicle's continuous series."""

    note: str | None = Field(default=None, max_length=400)
    accepted_at: datetime = Field(sa_type=UtcDateTime)
    """Whatever service on the compartment comes after it fulfils it."""

    accepted_by: str = Field(max_length=80)
    cancelled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
