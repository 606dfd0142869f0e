"""Parts that are used once a service, such as seals and washers, kept and ordered like fluids."""

from datetime import datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from service.domain import plausibility
from service.store.types import UtcDateTime, within


class Part(SQLModel, table=True):
    """A part by the name that compartments call it."""

    __tablename__ = "part"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "reference"),
        within("lead_time_days", plausibility.LEAD_TIME_DAYS),
        within("lead_time_sd_days", plausibility.LEAD_TIME_DAYS),
        within("shelf_life_days", plausibility.SHELF_LIFE_DAYS),
        within("room_pieces", plausibility.COUNT),
        within("service_level", plausibility.SERVICE_LEVEL),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    reference: str = Field(max_length=40)
    lead_time_days: float = 7.0
    lead_time_sd_days: float = 2.0
    shelf_life_days: int | None = None
    """None: it keeps."""

    room_pieces: int | None = None
    """Room on the shelf; none: no limit."""

    service_level: float = 0.95
    """Wanted probability of not running out before the next delivery."""

    created_at: datetime = Field(sa_type=UtcDateTime)
