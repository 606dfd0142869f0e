"""Request and answer models of fluids and packs."""

from collections.abc import Sequence
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    NOT_NAMED,
    Body,
    Density,
    LeadTimeDays,
    Line40,
    Line80,
    MinimumPacks,
    PackLitres,
    PriceMinor,
    RoomLitres,
    ServiceLevel,
    ShelfLifeDays,
    Yes,
)
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.store.tables.fluids import Fluid
from service.store.tables.fluids import Pack as PackRow
from service.usecases.stock.offer_packs import PackOffer

FLUID_EXAMPLE: dict[str, Any] = {
    "fluid": "ATF-A",
    "kind": "automatic_transmission_car",
    "specifications": ["Maker's standard 3"],
    "is_dyed": True,
    "lead_time_days": 7,
    "lead_time_sd_days": 2,
    "shelf_life_days": 1826,
    "opened_shelf_life_days": 183,
    "service_level": 0.95,
    "packs": [{"litres": 20, "price_minor": 16500, "minimum_packs": 1}],
}


class PriceBreak(Body):
    """A lower price of one pack, from so many packs in one order."""

    from_packs: MinimumPacks
    price_minor: PriceMinor


class PackTerms(Body):
    """On which terms a pack is sold."""

    price_minor: PriceMinor | None = Field(
        default=None, description="None: not known; then it is not planned."
    )
    minimum_packs: MinimumPacks = 1
    price_breaks: list[PriceBreak] = Field(default_factory=list, max_length=10)


class Pack(PackTerms):
    """A size in which the fluid can be bought."""

    litres: PackLitres


def offers_of(packs: Sequence[PackTerms] | None) -> list[PackOffer] | None:
    """Packs of a request, of a fluid or a part, as the use case takes them."""
    if packs is None:
        return None
    return [
        PackOffer(
            **pack.model_dump(exclude={"price_breaks"}),
            price_breaks=[(step.from_packs, step.price_minor) for step in pack.price_breaks],
        )
        for pack in packs
    ]


def terms_of(pack: PackRow) -> dict[str, Any]:
    """Terms of a pack as they are shown."""
    return {
        "price_minor": pack.price_minor,
        "minimum_packs": pack.minimum_packs,
        "price_breaks": [PriceBreak(**step) for step in pack.price_breaks],
    }


class FluidFields(Body):
    """What can be said of a fluid besides its name and kind."""

    specifications: list[Line80] | None = Field(default=None, max_length=30)
    is_dyed: Yes | None = None
    density_15c_kg_per_m3: Density | None = None
    lead_time_days: LeadTimeDays | None = None
    lead_time_sd_days: LeadTimeDays | None = None
    shelf_life_days: ShelfLifeDays | None = None
    opened_shelf_life_days: ShelfLifeDays | None = None
    tank_litres: RoomLitres | None = None
    service_level: ServiceLevel | None = None
    packs: list[Pack] | None = Field(default=None, max_length=20)


class FluidCreate(FluidFields):
    """A fluid to add."""

    model_config = ConfigDict(json_schema_extra={"examples": [FLUID_EXAMPLE]})

    fluid: Line40
    kind: FluidKind


class FluidUpdate(FluidFields):
    """What to change; what is not named stays."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"lead_time_days": 10}]})

    specifications: list[Line80] = Field(default=NOT_NAMED, max_length=30)
    is_dyed: Yes = NOT_NAMED
    lead_time_days: LeadTimeDays = NOT_NAMED
    lead_time_sd_days: LeadTimeDays = NOT_NAMED
    service_level: ServiceLevel = NOT_NAMED
    packs: list[Pack] = Field(default=NOT_NAMED, max_length=20)


class FluidRead(BaseModel):
    """A fluid as a product."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"id": "fld_3", **FLUID_EXAMPLE}]})

    id: str
    fluid: str
    kind: FluidKind
    specifications: list[str]
    is_dyed: bool
    density_15c_kg_per_m3: float | None
    lead_time_days: float
    lead_time_sd_days: float
    shelf_life_days: int | None
    opened_shelf_life_days: int | None
    tank_litres: float | None
    service_level: float
    packs: list[Pack]

    @classmethod
    def of(cls, fluid: Fluid, packs: list[PackRow]) -> Self:
        """Show a row with its packs."""
        fields = fluid.model_dump(include=set(cls.model_fields) - {"id", "fluid", "packs"})
        own = [Pack(litres=pack.quantity, **terms_of(pack)) for pack in packs if pack.fluid_id == fluid.id]
        return cls(id=format_id(IdKind.FLUID, fluid.id), fluid=fluid.reference, packs=own, **fields)


class FluidList(BaseModel):
    """All fluids."""

    fluids: list[FluidRead]
