"""Ageing rates that were fitted from an organisation's own samples and accepted by somebody."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass
from service.store.types import UtcDateTime, one_of


class AgeingFit(SQLModel, table=True):
    """How fast one fluid kind ages in one duty and class of vehicles, by the default rate."""

    __tablename__ = "ageing_fit"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        Index("ix_ageing_fit_group", "organisation_id", "kind", "duty", "vehicle_class", "id"),
        one_of("kind", FluidKind, "kind"),
        one_of("duty", Duty, "duty"),
        one_of("vehicle_class", VehicleClass, "vehicle_class"),
        CheckConstraint("multiplier_after BETWEEN 0.01 AND 100", name="multiplier_after"),
        CheckConstraint("n_samples > 0", name="n_samples"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    kind: str = Field(max_length=40)
    duty: str = Field(max_length=32)
    vehicle_class: str = Field(max_length=24)
    multiplier_before: float
    multiplier_after: float
    """A life of so many kilometres, days or hours becomes that life divided by this."""

    multiplier_log_sd: float
    n_samples: int
    accepted_at: datetime = Field(sa_type=UtcDateTime)
    accepted_by: str = Field(max_length=80)
    reverted_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
