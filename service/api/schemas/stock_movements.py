"""Request and answer models of the stock ledger."""

from datetime import date, datetime
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    Body,
    Day,
    Instant,
    Line40,
    Line80,
    Line400,
    PackLitres,
    StockLitres,
    StockPieces,
)
from service.api.schemas.stock import tidy
from service.domain.external_ids import IdKind, format_id
from service.domain.stock_entries import MovementKind
from service.store.tables.stock import StockMovement

MOVEMENT_EXAMPLE: dict[str, Any] = {
    "fluid": "ATF-A",
    "kind": "receipt",
    "litres": 60,
    "at": "2026-05-04T07:30:00+01:00",
    "expires_on": "2031-05-01",
    "reference": "delivery 4711",
    "note": None,
}


class MovementCreate(Body):
    """An entry to add to the ledger."""

    model_config = ConfigDict(json_schema_extra={"examples": [MOVEMENT_EXAMPLE]})

    fluid: Line40 | None = Field(default=None, description="Article name or id; or name a part.")
    part: Line40 | None = Field(default=None, description="Name or id of a part; or name a fluid.")
    kind: Literal["receipt", "count", "correction", "used", "discarded"]
    litres: StockLitres | None = Field(
        default=None,
        description="Of a fluid: what came, was used or discarded, above 0; of a count, what was found; of a "
        "correction, the change with its sign.",
    )
    pieces: StockPieces | None = Field(default=None, description="The same of a part.")
    pack_litres: PackLitres | None = Field(
        default=None, description="Size of the packs of a receipt: the rest of an open one keeps less long."
    )
    at: Instant | None = Field(default=None, description="When it happened; now if not given.")
    expires_on: Day | None = Field(
        default=None, description="Of a receipt, worked out from the shelf life if not given."
    )
    reference: Line80 | None = Field(default=None, description="The sender's own id; used once.")
    note: Line400 | None = None


class MovementRead(BaseModel):
    """An entry of the ledger."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": "mov_18",
                    **MOVEMENT_EXAMPLE,
                    "part": None,
                    "pieces": None,
                    "counted_litres": None,
                    "counted_pieces": None,
                    "pack_litres": 20.0,
                    "service": None,
                    "order": None,
                    "recorded_at": "2026-05-04T08:00:00Z",
                    "recorded_by": "token workshop",
                }
            ]
        }
    )

    id: str
    fluid: str | None
    part: str | None
    kind: MovementKind
    litres: float | None = Field(description="Signed change of the stock of a fluid.")
    pieces: int | None = Field(description="Signed change of the stock of a part.")
    counted_litres: float | None = Field(description="What was found, if this is a count.")
    counted_pieces: int | None
    pack_litres: float | None
    at: datetime
    expires_on: date | None
    service: str | None
    order: str | None
    reference: str | None
    note: str | None
    recorded_at: datetime
    recorded_by: str

    @classmethod
    def of(cls, row: StockMovement, name: str) -> Self:
        """Show a row with the name of its fluid or part."""
        order, is_part = row.purchase_order_id, row.part_id is not None
        return cls(
            id=format_id(IdKind.MOVEMENT, row.id),
            fluid=None if is_part else name,
            part=name if is_part else None,
            kind=MovementKind(row.kind),
            litres=None if is_part else tidy(row.quantity),
            pieces=round(row.quantity) if is_part else None,
            counted_litres=None if is_part else row.counted_quantity,
            counted_pieces=_pieces(row.counted_quantity) if is_part else None,
            pack_litres=None if is_part else row.pack_quantity,
            at=row.at,
            expires_on=row.expires_on,
            service=None if row.service_id is None else format_id(IdKind.SERVICE, row.service_id),
            order=None if order is None else format_id(IdKind.PURCHASE_ORDER, order),
            reference=row.reference,
            note=row.note,
            recorded_at=row.recorded_at,
            recorded_by=row.recorded_by,
        )


def _pieces(quantity: float | None) -> int | None:
    return None if quantity is None else round(quantity)


class MovementPage(BaseModel):
    """Some entries in the order they were recorded; the Link header leads to the next ones."""

    movements: list[MovementRead]
