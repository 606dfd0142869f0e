"""Limits for laboratory values that an organisation has set in place of the defaults."""

from datetime import datetime

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.limits import FALLING, Basis
from service.store.types import UtcDateTime, one_of

_FALLING = ", ".join(f"'{basis}'" for basis in sorted(FALLING))


class OwnAlarmLimit(SQLModel, table=True):
    """One pair of limits for one property in one kind of fluid."""

    __tablename__ = "alarm_limit"
    __table_args__ = (
        UniqueConstraint(
            "organisation_id", "kind", "laboratory_property", "basis", name="uq_alarm_limit_place"
        ),
        one_of("kind", FluidKind, "kind"),
        one_of("laboratory_property", LaboratoryProperty, "laboratory_property"),
        one_of("basis", Basis, "basis"),
        CheckConstraint(
            f"CASE WHEN basis IN ({_FALLING}) THEN caution >= critical ELSE caution <= critical END",
            name="caution_first",
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    kind: str = Field(max_length=40)
    laboratory_property: str = Field(max_length=40)
    basis: str = Field(max_length=24)
    caution: float
    critical: float
    """Both in the property's own unit, or as a share where the basis is one."""

    source: str = Field(max_length=400)
    set_by: str = Field(max_length=80)
    set_at: datetime = Field(sa_type=UtcDateTime)
