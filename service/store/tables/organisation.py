"""Who uses the service: an organisation and its depots."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import CheckConstraint, Column, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.domain import plausibility
from service.domain.zones import local_date, zone_named
from service.store.types import UtcDateTime, one_of, within


class Organisation(SQLModel, table=True):
    """A workshop or operator; everything else belongs to one."""

    __tablename__ = "organisation"
    __table_args__ = (
        UniqueConstraint("name"),
        one_of("distance_unit", ("km", "mi"), "distance_unit"),
        one_of("volume_unit", ("litre", "us_gallon", "us_quart", "imperial_gallon"), "volume_unit"),
        CheckConstraint("publishing_weekday BETWEEN 1 AND 7", name="publishing_weekday"),
        CheckConstraint("publishing_minute BETWEEN 0 AND 1439", name="publishing_minute"),
        CheckConstraint("length(currency) = 3", name="currency"),
    )

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=120)
    time_zone: str = Field(default="UTC", max_length=64)
    locale: str = Field(default="en-GB", max_length=16)
    currency: str = Field(default="EUR", max_length=3)
    distance_unit: str = Field(default="km", max_length=8)
    volume_unit: str = Field(default="litre", max_length=16)
    publishing_weekday: int = 5
    """ISO weekday on which next week's due list is fixed; 5 is Friday."""

    publishing_minute: int = 360
    """Local wall time of that, in minutes after midnight."""

    planning: dict[str, float] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Cost terms and service levels that differ from the defaults, by name."""

    created_at: datetime = Field(sa_type=UtcDateTime)

    @property
    def zone(self) -> ZoneInfo:
        """Where its days and weeks begin."""
        return zone_named("/time_zone", self.time_zone)

    def today(self, now: datetime) -> date:
        """Date on its calendar at an instant."""
        return local_date(now, self.zone)


class Depot(SQLModel, table=True):
    """A place with bays where vehicles are serviced."""

    __tablename__ = "depot"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "reference"),
        within("used_fluid_capacity_litres", plausibility.ROOM_LITRES),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    reference: str = Field(max_length=40)
    bay_minutes: list[int] = Field(sa_column=Column(JSON, nullable=False))
    """Bay minutes on Monday … Sunday."""

    holiday_region: str | None = Field(default=None, max_length=16)
    """ISO 3166 code whose public holidays close the depot, for instance `GB` or `DE-BY`."""

    closed_on: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    """Further closing days, ISO dates."""

    used_fluid_capacity_litres: float | None = None
    """Room for all streams together."""

    used_fluid_capacity_by_stream: dict[str, float] = Field(
        default_factory=dict, sa_column=Column(JSON, nullable=False)
    )
    """Litres that the container of each stream holds; a stream that is missing has one of unknown size."""

    created_at: datetime = Field(sa_type=UtcDateTime)
