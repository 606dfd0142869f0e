"""Where machines report from: each source with its own identity, and for each of its meters an offset and a record."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.domain import plausibility
from service.domain.machine_meters import Meter, OffsetOrigin, ValueUse
from service.domain.outcomes import ReadingOutcome
from service.store.types import LongKey, UtcDateTime, belongs_to, one_of, within


class MachineSource(SQLModel, table=True):
    """A maker's portal, a gateway or a box in the vehicles; its secret checks signatures, so it cannot be a hash."""

    __tablename__ = "machine_source"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "name"),
        within("pull_minutes", plausibility.PULL_MINUTES),
        Index("ix_machine_source_pull", "next_pull_at"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    name: str = Field(max_length=40)
    """Stands as the source of the readings that come of it."""

    secret: str = Field(max_length=120)
    previous_secret: str | None = Field(default=None, max_length=120)
    previous_secret_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    pull_url: str | None = Field(default=None, max_length=500)
    pull_authorization: str | None = Field(default=None, max_length=2000)
    """What is sent as Authorization; never shown again."""

    pull_minutes: int = 60
    next_pull_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    """While a node is pulling, the instant from which another one may take over; null without an address."""

    n_failures: int = 0
    """In a row, since the last pull that went well."""

    last_error: str | None = Field(default=None, max_length=400)
    last_pulled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    last_heard_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by: str = Field(max_length=80)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class MachineEquipment(SQLModel, table=True):
    """A machine as its source names it, and which vehicle the organisation says that it is."""

    __tablename__ = "machine_equipment"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "source_id", "reference"),
        belongs_to("machine_source", "source_id"),
        belongs_to("vehicle", "vehicle_id"),
        Index("ix_machine_equipment_vehicle", "organisation_id", "vehicle_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    source_id: int
    reference: str = Field(max_length=80)
    description: str | None = Field(default=None, max_length=120)
    identification: str | None = Field(default=None, max_length=40)
    vehicle_id: int | None = None
    first_seen_at: datetime = Field(sa_type=UtcDateTime)
    last_seen_at: datetime = Field(sa_type=UtcDateTime)


class MachineMeter(SQLModel, table=True):
    """One meter of a machine: how it relates to the dashboard, and what became of its values so far."""

    __tablename__ = "machine_meter"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "equipment_id", "meter"),
        belongs_to("machine_equipment", "equipment_id", cascade=True),
        one_of("meter", Meter, "meter"),
        CheckConstraint(
            f"offset_origin IN ({', '.join(repr(str(one)) for one in OffsetOrigin)})", name="origin"
        ),
        CheckConstraint('("offset" IS NULL) = (offset_origin IS NULL)', name="offset"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    equipment_id: int
    meter: str = Field(max_length=12)
    offset: float | None = None
    """Dashboard less source, km or hours; null while nobody knows it."""

    offset_origin: str | None = Field(default=None, max_length=8)
    drift: float | None = None
    """How far the latest comparison is from the offset."""

    shift: float = 0.0
    """What the source's own number is short of its continued series since its instrument was replaced."""

    resolution: float = 0.0
    last_value: float | None = None
    last_taken_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    n_accepted: int = 0
    n_held: int = 0
    n_duplicate: int = 0
    n_rejected: int = 0


class MachineReading(SQLModel, table=True):
    """A value as its source sent it, judged on the series of its own meter alone."""

    __tablename__ = "machine_reading"
    __table_args__ = (
        UniqueConstraint("organisation_id", "meter_id", "taken_at"),
        belongs_to("machine_meter", "meter_id", cascade=True),
        one_of("outcome", ReadingOutcome, "outcome"),
        one_of("use", ValueUse, "use"),
        Index("ix_machine_reading_age", "received_at"),
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=LongKey)
    organisation_id: int
    meter_id: int
    taken_at: datetime = Field(sa_type=UtcDateTime)
    value: float
    continued: float
    """The same on the continued series of the source."""

    outcome: str = Field(max_length=12)
    reason: str | None = Field(default=None, max_length=40)
    decided_by: str | None = Field(default=None, max_length=80)
    """Who said what it is; then outcome and reason stay, whatever screening thinks."""

    use: str = Field(default=ValueUse.WAITING, max_length=12)
    received_at: datetime = Field(sa_type=UtcDateTime)
