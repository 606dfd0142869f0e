"""Odometer and hour readings as they were keyed, and what was made of them."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from service.domain import plausibility
from service.domain.outcomes import ReadingOutcome
from service.store.types import BY_ORGANISATION, LongKey, UtcDateTime, belongs_to, one_of, within


class Reading(SQLModel, table=True):
    """One reading. What was keyed is never altered; the verdict beside it may change."""

    __tablename__ = "reading"
    __table_args__ = (
        belongs_to("vehicle", "vehicle_id", cascade=True),
        Index("ix_reading_vehicle_time", "organisation_id", "vehicle_id", "taken_at", "id"),
        Index("ix_reading_outcome", "organisation_id", "outcome", "id"),
        UniqueConstraint("organisation_id", "vehicle_id", "source", "reference"),
        one_of("outcome", ReadingOutcome, "outcome"),
        one_of("unit", ("km", "mi"), "unit"),
        within("odometer_km", plausibility.ODOMETER_KM),
        within("engine_hours", plausibility.ENGINE_HOURS),
        CheckConstraint("odometer_km IS NOT NULL OR engine_hours IS NOT NULL", name="says_something"),
        CheckConstraint("utc_offset_minutes BETWEEN -1440 AND 1440", name="utc_offset"),
        {"postgresql_partition_by": BY_ORGANISATION},
    )
    __mapper_args__ = {"primary_key": ["organisation_id", "id"]}

    id: int | None = Field(default=None, primary_key=True, sa_type=LongKey)
    organisation_id: int
    vehicle_id: int
    taken_at: datetime = Field(sa_type=UtcDateTime)
    utc_offset_minutes: int = 0
    """The offset the time came with."""

    odometer: float | None = None
    """As keyed, in `unit`."""

    unit: str = Field(default="km", max_length=2)
    odometer_km: float | None = None
    """The same in kilometres."""

    used_km: float | None = None
    """What the projection uses: repaired and shifted past a replaced cluster; null while not used."""

    engine_hours: float | None = None
    used_hours: float | None = None
    """The same as far as it is plausible, shifted past a replaced hour meter."""

    source: str = Field(default="api", max_length=40)
    reference: str | None = Field(default=None, max_length=80)
    outcome: str = Field(max_length=12)
    reason: str | None = Field(default=None, max_length=40)
    decided_by: str | None = Field(default=None, max_length=80)
    """Who released or discarded it, or nobody: the screening did."""

    received_at: datetime = Field(sa_type=UtcDateTime)


class VehicleUsage(SQLModel, table=True):
    """What the readings say about a vehicle: enough to take the next reading without the earlier ones."""

    __tablename__ = "vehicle_usage"
    __table_args__ = (
        belongs_to("vehicle", "vehicle_id", cascade=True),
        Index(
            "ix_vehicle_usage_stale",
            "organisation_id",
            "vehicle_id",
            sqlite_where=text("is_stale"),
            postgresql_where=text("is_stale"),
        ),
        Index("ix_vehicle_usage_odometer", "organisation_id", "last_odometer_km"),
        # Every reading changes its vehicle's row; with room beside it no index has to follow.
        {"postgresql_with": {"fillfactor": 50}},
    )

    vehicle_id: int = Field(primary_key=True)
    organisation_id: int
    usage_state: bytes | None = None
    """float64 row of the usage filter."""

    hours_state: bytes | None = None
    """The same for the hour meter."""

    n_readings: int = 0
    last_odometer_km: float | None = None
    """Last accepted odometer, to recognise it when it is keyed for another vehicle."""

    is_stale: bool = True
    """Something that the states of the vehicle or of its fluids rest on changed since they were computed."""

    changed_from: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """Time of the earliest reading that came, or was judged anew, since then; null if none was."""

    is_fluid_stale: bool = False
    """Something else than readings changed, so that the fluids have to be followed from their first event."""

    reading_end: bytes | None = None
    """float64 row of what the next reading is judged by, if nothing about the latest ones is in doubt."""

    updated_at: datetime = Field(sa_type=UtcDateTime)
