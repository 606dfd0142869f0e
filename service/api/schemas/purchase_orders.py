"""Request and answer models of purchase orders."""

from collections.abc import Sequence
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
    PackNumber,
    PackPieces,
    PriceMinor,
)
from service.domain.external_ids import IdKind, format_id
from service.domain.stock_entries import OrderState
from service.store.tables.stock import PurchaseOrder, PurchaseOrderLine

ORDER_EXAMPLE: dict[str, Any] = {
    "fluid": "ATF-A",
    "packs": [{"litres": 20, "count": 3}],
    "state": "placed",
    "expected_on": "2026-05-11",
    "reference": "order 2026-118",
    "note": None,
}
ORDER_READ_EXAMPLE: dict[str, Any] = {
    "id": "ord_5",
    "fluid": "ATF-A",
    "reference": "order 2026-118",
    "state": "placed",
    "placed_on": "2026-05-04",
    "expected_on": "2026-05-11",
    "part": None,
    "packs": [{"litres": 20.0, "pieces": None, "count": 3, "received": 1, "price_minor": 16500}],
    "litres": 60.0,
    "outstanding_litres": 40.0,
    "pieces": None,
    "outstanding_pieces": None,
    "cost_minor": 49500,
    "note": None,
    "version": 2,
    "created_at": "2026-05-04T08:00:00Z",
    "created_by": "token workshop",
}


class OrderPack(Body):
    """Packs of one size, in litres of a fluid or pieces of a part."""

    litres: PackLitres | None = None
    pieces: PackPieces | None = None
    count: PackNumber
    price_minor: PriceMinor | None = Field(
        default=None, description="Of one pack, in the smallest unit; the price on file if not given."
    )


class OrderCreate(Body):
    """Packs of one fluid or part to ask of a supplier."""

    model_config = ConfigDict(json_schema_extra={"examples": [ORDER_EXAMPLE]})

    fluid: Line40 | None = None
    part: Line40 | None = None
    packs: list[OrderPack] = Field(min_length=1, max_length=20)
    state: Literal["planned", "placed"] = "planned"
    expected_on: Day | None = Field(default=None, description="Worked out from the lead time if not given.")
    reference: Line80 | None = Field(default=None, description="Order number; used once.")
    note: Line400 | None = None


class OrderPlace(Body):
    """When the supplier promised it."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"expected_on": "2026-05-11"}]})

    expected_on: Day | None = None


class ReceivedPack(Body):
    """Packs of one size that came."""

    litres: PackLitres | None = None
    pieces: PackPieces | None = None
    count: PackNumber


class OrderReceive(Body):
    """What came; everything outstanding if no packs are named."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"packs": [{"litres": 20, "count": 1}], "expires_on": "2031-05-01", "note": "one damaged"}
            ]
        }
    )

    packs: list[ReceivedPack] | None = Field(default=None, min_length=1, max_length=20)
    at: Instant | None = Field(default=None, description="When it came; now if not given.")
    expires_on: Day | None = Field(
        default=None, description="As printed on the packs; worked out from the shelf life if not given."
    )
    note: Line400 | None = None


class OrderPackRead(BaseModel):
    """Packs of one size, how many of them came, and what one costs."""

    litres: float | None
    pieces: int | None
    count: int
    received: int
    price_minor: int


class OrderRead(BaseModel):
    """A purchase order."""

    model_config = ConfigDict(json_schema_extra={"examples": [ORDER_READ_EXAMPLE]})

    id: str
    fluid: str | None
    part: str | None
    reference: str | None
    state: OrderState
    placed_on: date | None
    expected_on: date
    packs: list[OrderPackRead]
    litres: float | None
    outstanding_litres: float | None
    pieces: int | None
    outstanding_pieces: int | None
    cost_minor: int
    note: str | None
    version: int
    created_at: datetime
    created_by: str

    @classmethod
    def of(cls, order: PurchaseOrder, lines: Sequence[PurchaseOrderLine], name: str) -> Self:
        """Show a row with its lines and the name of its fluid or part."""
        state, is_part = OrderState(order.state), order.part_id is not None
        total = sum(line.n_packs * line.pack_quantity for line in lines)
        left = sum((line.n_packs - line.n_received) * line.pack_quantity for line in lines)
        left = 0.0 if state is OrderState.CANCELLED else left
        return cls(
            id=format_id(IdKind.PURCHASE_ORDER, order.id),
            fluid=None if is_part else name,
            part=name if is_part else None,
            reference=order.reference,
            state=state,
            placed_on=order.placed_on,
            expected_on=order.expected_on,
            packs=[
                OrderPackRead(
                    litres=None if is_part else line.pack_quantity,
                    pieces=round(line.pack_quantity) if is_part else None,
                    count=line.n_packs,
                    received=line.n_received,
                    price_minor=line.price_minor,
                )
                for line in lines
            ],
            litres=None if is_part else round(total, 3),
            outstanding_litres=None if is_part else round(left, 3),
            pieces=round(total) if is_part else None,
            outstanding_pieces=round(left) if is_part else None,
            cost_minor=sum(line.n_packs * line.price_minor for line in lines),
            note=order.note,
            version=order.version,
            created_at=order.created_at,
            created_by=order.created_by,
        )


class OrderPage(BaseModel):
    """Some orders in the order they were made; the Link header leads to the next ones."""

    orders: list[OrderRead]
