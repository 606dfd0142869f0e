"""Request and answer models of the stock ledger and of used fluid."""

from datetime import date, datetime
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Day, Instant, Line40, Line80, Line400, StockLitres, Yes
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.domain.stock_entries import MovementKind, OrderState
from service.domain.used_fluid import WasteStream
from service.store.tables.stock import StockMovement, UsedFluidCollection
from service.usecases.show_stock import StockLine, StockOverview
from service.usecases.used_fluid_levels import UsedFluidLevel

MOVEMENT_EXAMPLE: dict[str, Any] = {
    "fluid": "ATF-A",
    "kind": "receipt",
    "litres": 60,
    "at": "2026-05-04T07:30:00+01:00",
    "expires_on": "2031-05-01",
    "reference": "delivery 4711",
    "note": None,
}
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
    "lots": [{"expires_on": "2031-05-01", "litres": 60.0}],
    "on_order_litres": 20.0,
    "orders": [{"id": "ord_5", "state": "placed", "expected_on": "2026-05-11", "litres": 20.0}],
    "tank_litres": None,
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


class MovementCreate(Body):
    """An entry to add to the ledger."""

    model_config = ConfigDict(json_schema_extra={"examples": [MOVEMENT_EXAMPLE]})

    fluid: Line40
    kind: Literal["receipt", "count", "correction", "discarded"]
    litres: StockLitres = Field(
        description="What came or was discarded, above 0; of a count, what was found; of a correction, the "
        "change with its sign."
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
                    "counted_litres": None,
                    "service": None,
                    "order": None,
                    "recorded_at": "2026-05-04T08:00:00Z",
                    "recorded_by": "token workshop",
                }
            ]
        }
    )

    id: str
    fluid: str
    kind: MovementKind
    litres: float = Field(description="Signed change of the stock.")
    counted_litres: float | None = Field(description="What was found, if this is a count.")
    at: datetime
    expires_on: date | None
    service: str | None
    order: str | None
    reference: str | None
    note: str | None
    recorded_at: datetime
    recorded_by: str

    @classmethod
    def of(cls, row: StockMovement, fluid: str) -> Self:
        """Show a row."""
        order = row.purchase_order_id
        return cls(
            id=format_id(IdKind.MOVEMENT, row.id),
            fluid=fluid,
            kind=MovementKind(row.kind),
            litres=tidy(row.litres),
            counted_litres=row.counted_litres,
            at=row.at,
            expires_on=row.expires_on,
            service=None if row.service_id is None else format_id(IdKind.SERVICE, row.service_id),
            order=None if order is None else format_id(IdKind.PURCHASE_ORDER, order),
            reference=row.reference,
            note=row.note,
            recorded_at=row.recorded_at,
            recorded_by=row.recorded_by,
        )


class MovementPage(BaseModel):
    """Some entries in the order they were recorded; the Link header leads to the next ones."""

    movements: list[MovementRead]


class LotRead(BaseModel):
    """Litres that expire on one day; null where no day is known."""

    expires_on: date | None
    litres: float


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
            litres=tidy(line.shelf.litres),
            next_expiry_on=line.next_expiry_on,
            expired_litres=tidy(line.expired_litres),
            nearly_expired_litres=tidy(line.nearly_expired_litres),
            lots=[
                LotRead(
                    expires_on=None if lot.expires_on == date.max else lot.expires_on, litres=tidy(lot.litres)
                )
                for lot in line.shelf.lots
            ],
            on_order_litres=tidy(line.on_order_litres),
            orders=[
                ComingOrder(
                    id=format_id(IdKind.PURCHASE_ORDER, order.order_id),
                    state=order.state,
                    expected_on=order.expected_on,
                    litres=tidy(order.litres),
                )
                for order in line.open_orders
            ],
            tank_litres=line.fluid.tank_litres,
            warnings=list(line.warnings),
        )


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
            "examples": [{"today": "2026-05-04", "fluids": [LINE_EXAMPLE], "used_fluid": [LEVEL_EXAMPLE]}]
        }
    )

    today: date
    fluids: list[StockLineRead]
    used_fluid: list[UsedFluidRead]

    @classmethod
    def of(cls, overview: StockOverview) -> Self:
        """Show the shelf."""
        return cls(
            today=overview.today,
            fluids=[StockLineRead.of(line) for line in overview.lines],
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
