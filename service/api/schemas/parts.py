"""Request and answer models of parts that are kept on the shelf."""

from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import NOT_NAMED, Body, LeadTimeDays, Line40, PackPieces, ServiceLevel, ShelfLifeDays
from service.api.schemas.fluids import PackTerms, terms_of
from service.domain.external_ids import IdKind, format_id
from service.store.tables.fluids import Pack
from service.store.tables.parts import Part

PART_EXAMPLE: dict[str, Any] = {
    "part": "drain plug washer",
    "lead_time_days": 7,
    "lead_time_sd_days": 2,
    "shelf_life_days": None,
    "room_pieces": 1000,
    "service_level": 0.95,
    "packs": [{"pieces": 50, "price_minor": 1200, "minimum_packs": 1}],
}


class PartPack(PackTerms):
    """A size in which the part can be bought."""

    pieces: PackPieces


class PartFields(Body):
    """What can be said of a part besides its name."""

    lead_time_days: LeadTimeDays | None = None
    lead_time_sd_days: LeadTimeDays | None = None
    shelf_life_days: ShelfLifeDays | None = Field(default=None, description="None: it keeps.")
    room_pieces: PackPieces | None = Field(default=None, description="Room on the shelf; none: no limit.")
    service_level: ServiceLevel | None = None
    packs: list[PartPack] | None = Field(default=None, max_length=20)


class PartCreate(PartFields):
    """A part to keep, by the name that compartments call it in their `seals`."""

    model_config = ConfigDict(json_schema_extra={"examples": [PART_EXAMPLE]})

    part: Line40


class PartUpdate(PartFields):
    """What to change; what is not named stays."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"lead_time_days": 10}]})

    lead_time_days: LeadTimeDays = NOT_NAMED
    lead_time_sd_days: LeadTimeDays = NOT_NAMED
    service_level: ServiceLevel = NOT_NAMED
    packs: list[PartPack] = Field(default=NOT_NAMED, max_length=20)


class PartRead(BaseModel):
    """A part that is kept on the shelf."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"id": "prt_3", **PART_EXAMPLE}]})

    id: str
    part: str
    lead_time_days: float
    lead_time_sd_days: float
    shelf_life_days: int | None
    room_pieces: int | None
    service_level: float
    packs: list[PartPack]

    @classmethod
    def of(cls, part: Part, packs: list[Pack]) -> Self:
        """Show a row with its packs."""
        fields = part.model_dump(include=set(cls.model_fields) - {"id", "part", "packs"})
        own = [
            PartPack(pieces=round(pack.quantity), **terms_of(pack))
            for pack in packs
            if pack.part_id == part.id
        ]
        return cls(id=format_id(IdKind.PART, part.id), part=part.reference, packs=own, **fields)


class PartList(BaseModel):
    """All parts that are kept."""

    parts: list[PartRead]
