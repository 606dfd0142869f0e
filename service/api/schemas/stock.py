"""Request and answer models of the shelf and of used fluid."""

from datetime import date, datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    Body,
    Instant,
    Line40,
    Line80,
    Line400,
    StockLitres,
    Yes,
)
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.stock_entries import OrderState
from service.domain.used_fluid import WasteStream
from service.store.tables.stock import UsedFluidCollection
from service.usecases.stock.show_stock import StockLine, StockOverview
from service.usecases.stock.stock_items import room_for
from service.usecases.stock.stock_lots import Lot
from service.usecases.stock.used_fluid_levels import UsedFluidLevel

COLLECTION_EXAMPLE: dict[str, Any] = {
    "depot": "North",
    "stream": "lubricating_oil",
    "litres": 400,
    "at": "2026-05-04T07:30:00+01:00",
    "is_emptied": True,
    "reference": "transfer 17",
    "note": None,
}
LINE_EXAMPLE: dict[str, Any] = {
    "id": "fld_3",
    "fluid": "ATF-A",
    "kind": "automatic_transmission_car",
    "litres": 60.0,
    "next_expiry_on": "2031-05-01",
    "expired_litres": 0.0,
    "nearly_expired_litres": 0.0,
    "lots": [{"expires_on": "2031-05-01", "litres": 60.0, "is_open": False}],
    "on_order_litres": 20.0,
    "orders": [{"id": "ord_5", "state": "placed", "expected_on": "2026-05-11", "litres": 20.0}],
    "tank_litres": None,
    "warnings": [],
}
PART_LINE_EXAMPLE: dict[str, Any] = {
    "id": "prt_3",
    "part": "drain plug washer",
    "pieces": 85,
    "next_expiry_on": None,
    "expired_pieces": 0,
    "nearly_expired_pieces": 0,
    "lots": [{"expires_on": None, "pieces": 85}],
    "on_order_pieces": 50,
    "orders": [{"id": "ord_6", "state": "placed", "expected_on": "2026-05-11", "pieces": 50}],
    "room_pieces": 1000,
    "warnings": [],
}
LEVEL_EXAMPLE: dict[str, Any] = {
    "depot": "North",
    "stream": "lubricating_oil",
    "litres": 132.5,
    "last_emptied_at": "2026-04-01T06:00:00Z",
    "depot_capacity_litres": 1000.0,
}


def tidy(litres: float) -> float:
    """Litres to the millilitre, without a minus before a zero."""
    return round(litres, 3) + 0.0


class LotRead(BaseModel):
    """Litres that expire on one day; null where no day is known."""

    expires_on: date | None
    litres: float
    is_open: bool = Field(default=False, description="What is left of a pack that was begun.")


class ComingOrder(BaseModel):
    """What an open order will still bring."""

    id: str
    state: OrderState
    expected_on: date
    litres: float


class StockLineRead(BaseModel):
    """One fluid on the shelf."""

    model_config = ConfigDict(json_schema_extra={"examples": [LINE_EXAMPLE]})

    id: str
    fluid: str
    kind: FluidKind
    litres: float = Field(description="Below 0 when more was drawn than the ledger knew of.")
    next_expiry_on: date | None
    expired_litres: float
    nearly_expired_litres: float = Field(description="Four fifths of the shelf life are over.")
    lots: list[LotRead]
    on_order_litres: float
    orders: list[ComingOrder]
    tank_litres: float | None
    warnings: list[str]

    @classmethod
    def of(cls, line: StockLine) -> Self:
        """Show one fluid."""
        return cls(
            id=format_id(IdKind.FLUID, line.fluid.id),
            fluid=line.fluid.reference,
            kind=FluidKind(line.fluid.kind),
            litres=tidy(line.shelf.quantity),
            next_expiry_on=line.next_expiry_on,
            expired_litres=tidy(line.expired_quantity),
            nearly_expired_litres=tidy(line.nearly_expired_quantity),
            lots=[
                LotRead(expires_on=_day(lot), litres=tidy(lot.quantity), is_open=lot.is_open)
                for lot in line.shelf.lots
            ],
            on_order_litres=tidy(line.on_order_quantity),
            orders=[
                ComingOrder(
                    id=format_id(IdKind.PURCHASE_ORDER, order.order_id),
                    state=order.state,
                    expected_on=order.expected_on,
                    litres=tidy(order.quantity),
                )
                for order in line.open_orders
            ],
            tank_litres=line.fluid.tank_litres,
            warnings=list(line.warnings),
        )


class PieceLot(BaseModel):
    """Pieces that expire on one day; null where they keep."""

    expires_on: date | None
    pieces: int


class ComingPieces(BaseModel):
    """What an open order will still bring."""

    id: str
    state: OrderState
    expected_on: date
    pieces: int


class PartLineRead(BaseModel):
    """One part on the shelf."""

    model_config = ConfigDict(json_schema_extra={"examples": [PART_LINE_EXAMPLE]})

    id: str
    part: str
    pieces: int = Field(description="Below 0 when more was drawn than the ledger knew of.")
    next_expiry_on: date | None
    expired_pieces: int
    nearly_expired_pieces: int
    lots: list[PieceLot]
    on_order_pieces: int
    orders: list[ComingPieces]
    room_pieces: int | None
    warnings: list[str]

    @classmethod
    def of(cls, line: StockLine) -> Self:
        """Show one part."""
        room = room_for(line.item)
        return cls(
            id=format_id(IdKind.PART, line.item.id),
            part=line.item.reference,
            pieces=round(line.shelf.quantity),
            next_expiry_on=line.next_expiry_on,
            expired_pieces=round(line.expired_quantity),
            nearly_expired_pieces=round(line.nearly_expired_quantity),
            lots=[PieceLot(expires_on=_day(lot), pieces=round(lot.quantity)) for lot in line.shelf.lots],
            on_order_pieces=round(line.on_order_quantity),
            orders=[
                ComingPieces(
                    id=format_id(IdKind.PURCHASE_ORDER, order.order_id),
                    state=order.state,
                    expected_on=order.expected_on,
                    pieces=round(order.quantity),
                )
                for order in line.open_orders
            ],
            room_pieces=None if room is None else round(room),
            warnings=list(line.warnings),
        )


def _day(lot: Lot) -> date | None:
    return None if lot.expires_on == date.max else lot.expires_on


class UsedFluidRead(BaseModel):
    """Used fluid of one stream at one depot: what services drained since it was last emptied."""

    model_config = ConfigDict(json_schema_extra={"examples": [LEVEL_EXAMPLE]})

    depot: str
    stream: WasteStream
    litres: float
    last_emptied_at: datetime | None
    depot_capacity_litres: float | None = Field(description="Room for all streams of the depot together.")

    @classmethod
    def of(cls, level: UsedFluidLevel) -> Self:
        """Show one stream."""
        return cls(
            depot=level.depot,
            stream=level.stream,
            litres=tidy(level.litres),
            last_emptied_at=level.last_emptied_at,
            depot_capacity_litres=level.depot_capacity_litres,
        )


class StockRead(BaseModel):
    """The whole shelf, and the used fluid beside it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "today": "2026-05-04",
                    "fluids": [LINE_EXAMPLE],
                    "parts": [PART_LINE_EXAMPLE],
                    "used_fluid": [LEVEL_EXAMPLE],
                }
            ]
        }
    )

    today: date
    fluids: list[StockLineRead]
    parts: list[PartLineRead]
    used_fluid: list[UsedFluidRead]

    @classmethod
    def of(cls, overview: StockOverview) -> Self:
        """Show the shelf."""
        return cls(
            today=overview.today,
            fluids=[StockLineRead.of(line) for line in overview.lines],
            parts=[PartLineRead.of(line) for line in overview.parts],
            used_fluid=[UsedFluidRead.of(level) for level in overview.used_fluid],
        )


class CollectionCreate(Body):
    """Used fluid that was fetched."""

    model_config = ConfigDict(json_schema_extra={"examples": [COLLECTION_EXAMPLE]})

    depot: Line40
    stream: WasteStream
    litres: StockLitres = Field(gt=0)
    at: Instant | None = None
    is_emptied: Yes = Field(default=True, description="Nothing was left, whatever was thought to be there.")
    reference: Line80 | None = Field(default=None, description="Number of the transfer paper; used once.")
    note: Line400 | None = None


class CollectionRead(BaseModel):
    """Used fluid that was fetched."""

    model_config = ConfigDict(json_schema_extra={"examples": [COLLECTION_EXAMPLE]})

    depot: str
    stream: WasteStream
    litres: float
    at: datetime
    is_emptied: bool
    reference: str | None
    note: str | None

    @classmethod
    def of(cls, row: UsedFluidCollection, depot: str) -> Self:
        """Show a row."""
        return cls(depot=depot, **row.model_dump(include=set(cls.model_fields) - {"depot"}))


class CollectionPage(BaseModel):
    """Collections, the latest entry first."""

    collections: list[CollectionRead]
