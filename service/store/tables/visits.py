"""What people have asked of the visit plan."""

from datetime import date, datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from service.store.types import UtcDateTime, belongs_to, one_of

PIN_KINDS = ("on", "not_before")


class VisitPin(SQLModel, table=True):
    """A vehicle's next visit is on a day, or not before it; a vehicle has one pin at most."""

    __tablename__ = "visit_pin"
    __table_args__ = (
        UniqueConstraint("organisation_id", "vehicle_id"),
        belongs_to("vehicle", "vehicle_id", cascade=True),
        one_of("kind", PIN_KINDS, "kind"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    vehicle_id: int
    kind: str = Field(max_length=12)
    day: date
    note: str | None = Field(default=None, max_length=400)
    created_at: datetime = Field(sa_type=UtcDateTime)
    by: str = Field(max_length=80)
