"""The stock ledger: litres and pieces come and go by entries, no number is ever overwritten."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from service.domain import plausibility
from service.domain.stock_entries import MovementKind, OrderState
from service.domain.used_fluid import WasteStream
from service.store.types import UtcDateTime, belongs_to, either, one_of, within


class StockMovement(SQLModel, table=True):
    """One entry: what came, went or was found different."""

    __tablename__ = "stock_movement"
    __table_args__ = (
        belongs_to("fluid", "fluid_id"),
        belongs_to("part", "part_id"),
        either("fluid_id", "part_id"),
        belongs_to("purchase_order", "purchase_order_id"),
        Index("ix_stock_movement_item", "organisation_id", "fluid_id", "part_id", "at", "id"),
        Index(
            "uq_stock_movement_reference",
            "organisation_id",
            "reference",
            unique=True,
            sqlite_where=text("kind <> 'drawn'"),
            postgresql_where=text("kind <> 'drawn'"),
        ),
        one_of("kind", MovementKind, "kind"),
        within("quantity", plausibility.STOCK_LITRES),
        CheckConstraint("kind <> 'receipt' OR quantity > 0", name="receipt_adds"),
        CheckConstraint("kind NOT IN ('discarded', 'used') OR quantity < 0", name="takes"),
        CheckConstraint("(kind = 'count') = (counted_quantity IS NOT NULL)", name="count_has_found"),
        within("counted_quantity", plausibility.STOCK_LITRES),
        within("pack_quantity", plausibility.PACK_LITRES),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    fluid_id: int | None = None
    part_id: int | None = None
    kind: str = Field(max_length=12)
    quantity: float
    """Signed change of the stock, litres of a fluid or pieces of a part; of a count, the difference it made."""

    counted_quantity: float | None = None
    """What was found, if this is a count."""

    pack_quantity: float | None = None
    """Size of the packs that came; what is left of one that was begun keeps less long."""

    at: datetime = Field(sa_type=UtcDateTime)
    expires_on: date | None = None
    service_id: int | None = None
    purchase_order_id: int | None = None
    reference: str | None = Field(default=None, max_length=80)
    """The sender's own id of the entry."""

    note: str | None = Field(default=None, max_length=400)
    recorded_at: datetime = Field(sa_type=UtcDateTime)
    recorded_by: str = Field(max_length=80)


class PurchaseOrder(SQLModel, table=True):
    """Packs of one fluid or part asked of a supplier."""

    __tablename__ = "purchase_order"
    __table_args__ = (
        UniqueConstraint("organisation_id", "id"),
        UniqueConstraint("organisation_id", "reference"),
        belongs_to("fluid", "fluid_id"),
        belongs_to("part", "part_id"),
        either("fluid_id", "part_id"),
        Index("ix_purchase_order_open", "organisation_id", "state", "expected_on"),
        one_of("state", OrderState, "state"),
        CheckConstraint("version > 0", name="version"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    fluid_id: int | None = None
    part_id: int | None = None
    reference: str | None = Field(default=None, max_length=80)
    """The organisation's or the supplier's order number."""

    state: str = Field(default=OrderState.PLANNED, max_length=12)
    placed_on: date | None = None
    expected_on: date
    note: str | None = Field(default=None, max_length=400)
    version: int = 1
    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by: str = Field(max_length=80)


class PurchaseOrderLine(SQLModel, table=True):
    """Packs of one size in an order; receipts may come in parts."""

    __tablename__ = "purchase_order_line"
    __table_args__ = (
        UniqueConstraint("organisation_id", "purchase_order_id", "pack_quantity"),
        belongs_to("purchase_order", "purchase_order_id", cascade=True),
        CheckConstraint("pack_quantity > 0", name="pack_quantity"),
        CheckConstraint("n_packs > 0 AND n_packs <= 100000", name="n_packs"),
        CheckConstraint("n_received >= 0 AND n_received <= n_packs", name="n_received"),
        CheckConstraint("price_minor >= 0", name="price"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int
    purchase_order_id: int
    pack_quantity: float
    """Litres of a fluid, pieces of a part."""

    n_packs: int
    n_received: int = 0
    price_minor: int
    """Price of one pack when it was ordered."""


class UsedFluidCollection(SQLModel, table=True):
    """Used fluid of one stream that was fetched from a depot."""

    __tablename__ = "used_fluid_collection"
    __table_args__ = (
        UniqueConstraint("organisation_id", "reference"),
        belongs_to("depot", "depot_id"),
        Index("ix_used_fluid_collection", "organisation_id", "depot_id", "stream", "at", "id"),
        one_of("stream", WasteStream, "stream"),
        within("litres", plausibility.STOCK_LITRES),
        CheckConstraint("litres > 0", name="takes"),
    )

    id: int | None = Field(default=None, primary_key=True)
    organisation_id: int = Field(foreign_key="organisation.id")
    depot_id: int
    stream: str = Field(max_length=24)
    at: datetime = Field(sa_type=UtcDateTime)
    litres: float
    is_emptied: bool = True
    """Nothing was left, so what was thought to be there before no longer counts."""

    reference: str | None = Field(default=None, max_length=80)
    """Number of the transfer paper."""

    note: str | None = Field(default=None, max_length=400)
    recorded_at: datetime = Field(sa_type=UtcDateTime)
    recorded_by: str = Field(max_length=80)
