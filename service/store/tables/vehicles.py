"""Vehicles and the places in them that hold a fluid."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Column, Index, UniqueConstraint, text
from sqlmodel import JSON, Field, SQLModel

from service.domain import plausibility
from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass
from service.store.types import UtcDateTime, belongs_to, one_of, within


class Vehicle(SQLModel, table=True):
    """A vehicle; `reference` is the fleet's own number, unique among the vehicles in use."""

    __tablename__ = "vehicle"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        Index(
            "uq_vehicle_reference_in_use",
            "organisation_id",
            "reference",
            unique=True,
            sqlite_where=text("retired_at IS NULL"),
            postgresql_where=text("retired_at IS NULL"),
        ),
        Index(
            "ix_vehicle_vin",
            "organisation_id",
            "vin",
            sqlite_where=text("vin IS NOT NULL"),
            postgresql_where=text("vin IS NOT NULL"),
        ),
        belongs_to("depot", "depot_id"),
        one_of("vehicle_class", VehicleClass, "vehicle_class"),
        one_of("duty", Duty, "duty"),
        one_of("odometer_unit", ("km", "mi"), "odometer_unit"),
        CheckConstraint("available_weekdays BETWEEN 0 AND 127", name="available_weekdays"),
        CheckConstraint("version > 0", name="version"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    depot_id: int
    reference: str = Field(max_length=40)
    vehicle_class: str = Field(max_length=24)
    duty: str = Field(default=Duty.NORMAL, max_length=32)
    odometer_unit: str = Field(default="km", max_length=2)
    vin: str | None = Field(default=None, max_length=17)
    in_service_on: date | None = None
    available_weekdays: int = 127
    """Days on which it can come in, a bit a weekday, Monday the lowest."""

    version: int = 1
    created_at: datetime = Field(sa_type=UtcDateTime)
    retired_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Compartment(SQLModel, table=True):
    """A place in a vehicle that holds one fluid, with what the maker says about it."""

    __tablename__ = "compartment"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "vehicle_id", "reference"),
        belongs_to("vehicle", "vehicle_id", cascade=True),
        belongs_to("fluid", "fluid_id"),
        one_of("kind", FluidKind, "kind"),
        within("total_litres", plausibility.COMPARTMENT_LITRES),
        CheckConstraint("drainable_litres > 0 AND drainable_litres <= total_litres", name="drainable_litres"),
        within("interval_km", plausibility.INTERVAL_KM),
        within("interval_months", plausibility.INTERVAL_MONTHS),
        within("interval_hours", plausibility.INTERVAL_HOURS),
        CheckConstraint(
            "(level_min_celsius IS NULL) = (level_max_celsius IS NULL) AND "
            "(level_min_celsius IS NULL OR level_min_celsius < level_max_celsius)",
            name="level_window",
        ),
        within("baseline_odometer_km", plausibility.ODOMETER_KM),
        within("baseline_engine_hours", plausibility.ENGINE_HOURS),
        within("level_min_celsius", plausibility.EXPANSION_CELSIUS),
        within("level_max_celsius", plausibility.EXPANSION_CELSIUS),
        CheckConstraint("version > 0", name="version"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    vehicle_id: int
    reference: str = Field(max_length=40)
    """Its name on the vehicle, for instance `gearbox` or `rear axle`."""

    kind: str = Field(max_length=40)
    fluid_id: int | None = None
    """The product filled here by default."""

    specification: str | None = Field(default=None, max_length=120)
    """What the maker requires of the fluid."""

    total_litres: float
    drainable_litres: float
    interval_km: float | None = None
    interval_months: int | None = None
    interval_hours: float | None = None
    level_min_celsius: float | None = None
    level_max_celsius: float | None = None
    has_fluid_counter: bool = False
    partial_is_full: bool = False
    """The maker calls a drain-and-fill the service: it then counts as a full one for the schedule."""

    maker_notes: str | None = Field(default=None, max_length=4000)
    """Plugs, tools and torque as the maker gives them."""

    seals: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    """Parts used once a service: `{"part": "drain plug washer", "pieces": 1}`."""

    baseline_on: date | None = None
    """Last full change before the first service recorded here; the three are null where nobody knows."""

    baseline_odometer_km: float | None = None
    baseline_engine_hours: float | None = None
    ageing: dict[str, float] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Ageing parameters that differ from the kind's defaults, by name."""

    oil_temperatures: list[dict[str, Any]] = Field(
        default_factory=list, sa_column=Column(JSON, nullable=False)
    )
    """Hours at each temperature of the fluid, as logged: `{"celsius": 95, "hours": 250}`; `ageing` has what follows."""

    version: int = 1
    created_at: datetime = Field(sa_type=UtcDateTime)
