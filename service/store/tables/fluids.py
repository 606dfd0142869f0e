"""Fluids as products, and the packs that fluids and parts are bought in."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Column, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from service.domain import plausibility
from service.domain.fluid_kinds import FluidKind
from service.store.types import UtcDateTime, belongs_to, either, one_of, within


class Fluid(SQLModel, table=True):
    """A product with the specifications it meets."""

    __tablename__ = "fluid"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "reference"),
        one_of("kind", FluidKind, "kind"),
        within("density_15c_kg_per_m3", plausibility.DENSITY_KG_PER_M3),
        within("lead_time_days", plausibility.LEAD_TIME_DAYS),
        within("lead_time_sd_days", plausibility.LEAD_TIME_DAYS),
        within("shelf_life_days", plausibility.SHELF_LIFE_DAYS),
        within("opened_shelf_life_days", plausibility.SHELF_LIFE_DAYS),
        within("tank_litres", plausibility.ROOM_LITRES),
        within("service_level", plausibility.SERVICE_LEVEL),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    reference: str = Field(max_length=40)
    """The organisation's own article name."""

    kind: str = Field(max_length=40)
    specifications: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    is_dyed: bool = False
    density_15c_kg_per_m3: float | None = None
    lead_time_days: float = 7.0
    lead_time_sd_days: float = 2.0
    shelf_life_days: int | None = None
    opened_shelf_life_days: int | None = None
    """How long a pack keeps once it is open; none: what its kind usually does."""

    tank_litres: float | None = None
    """Room on the shelf or in the tank; none: no limit."""

    service_level: float = 0.95
    """Wanted probability of not running out before the next delivery."""

    new_values: dict[str, float] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
    """Laboratory properties of the new fluid, from its data sheet; relative limits need them."""

    created_at: datetime = Field(sa_type=UtcDateTime)


class Pack(SQLModel, table=True):
    """A size in which a fluid or a part can be bought."""

    __tablename__ = "pack"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "fluid_id", "quantity"),
        UniqueConstraint("organisation_id", "part_id", "quantity"),
        belongs_to("fluid", "fluid_id", cascade=True),
        belongs_to("part", "part_id", cascade=True),
        either("fluid_id", "part_id"),
        within("quantity", plausibility.PACK_LITRES),
        within("price_minor", plausibility.PRICE_MINOR),
        CheckConstraint("minimum_packs >= 1 AND minimum_packs <= 10000", name="minimum_packs"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    fluid_id: int | None = None
    part_id: int | None = None
    quantity: float
    """Litres of a fluid, pieces of a part."""

    price_minor: int | None = None
    """Price of one pack in the smallest unit of the organisation's currency; none: not known."""

    minimum_packs: int = 1
    price_breaks: list[dict[str, int]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    """Lower prices for more packs in one order: `{"from_packs": 10, "price_minor": 15900}`, rising."""
