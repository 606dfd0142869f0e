"""Which fluid or part is meant, and how much of it: litres of a fluid, pieces of a part."""

from dataclasses import dataclass

from sqlmodel import Session

from service.domain.fluid_kinds import FluidKind
from service.domain.stock_defaults import OPENED_SHELF_LIFE_MONTHS, SEALED_SHELF_LIFE_MONTHS
from service.errors import InvalidInputError
from service.store.repositories import fluids, stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.parts import Part
from service.units import DAYS_PER_MONTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """Litres of a fluid or pieces of a part; exactly one of them."""

    litres: float | None = None
    pieces: int | None = None

    def of(self, item: StockItem, pointer: str) -> float:
        """Quantity, in the measure of the item."""
        wanted, other = (self.pieces, self.litres) if isinstance(item, Part) else (self.litres, self.pieces)
        if wanted is None or other is not None:
            unit = "pieces" if isinstance(item, Part) else "litres"
            raise InvalidInputError.at(
                f"{pointer}/{unit}",
                f"“{item.reference}” is counted in {unit}; say how many, and nothing else.",
            )
        return float(wanted)


def unit_of(item: StockItem) -> str:
    """Name of the measure of an item."""
    return "pieces" if isinstance(item, Part) else "litres"


def item_named(session: Session, organisation_id: int, fluid: str | None, part: str | None) -> StockItem:
    """Find the fluid or the part that a request names.

    Raises
    ------
    InvalidInputError
        If it names none or both, or one that is unknown.
    """
    if (fluid is None) == (part is None):
        raise InvalidInputError.at("/fluid", "Name either a fluid or a part.")
    found: StockItem | None
    if part is not None:
        found = stock_items.find_part(session, organisation_id, part)
        if found is None:
            raise InvalidInputError.at(
                "/part", "There is no part with this name or id; add it at /v1/parts first."
            )
        return found
    found = fluids.find_fluid(session, organisation_id, fluid or "")
    if found is None:
        raise InvalidInputError.at(
            "/fluid", "There is no fluid with this article name or id; add it at /v1/fluids first."
        )
    return found


def key_asked(session: Session, organisation_id: int, fluid: str | None, part: str | None) -> ItemKey | None:
    """Key of the fluid or part that a question is limited to; none where it is about all.

    Raises
    ------
    NotFoundError
        If there is none of this name.
    InvalidInputError
        If both are named.
    """
    if fluid is not None and part is not None:
        raise InvalidInputError.at("query/part", "Ask for a fluid or for a part, not for both.")
    if part is not None:
        return ItemKey.of(stock_items.get_part(session, organisation_id, part))
    return None if fluid is None else ItemKey.of(fluids.get_fluid(session, organisation_id, fluid))


def shelf_life_days(item: StockItem) -> int | None:
    """Days that a sealed pack keeps: the item's own, or what its kind of fluid usually does; none for ever."""
    if item.shelf_life_days is not None or isinstance(item, Part):
        return item.shelf_life_days
    return round(SEALED_SHELF_LIFE_MONTHS[FluidKind(item.kind)].value * DAYS_PER_MONTH)


def opened_shelf_life_days(item: StockItem) -> int | None:
    """Days that a pack keeps once it is open; none for what does not suffer from it."""
    if isinstance(item, Part):
        return None
    if item.opened_shelf_life_days is not None:
        return item.opened_shelf_life_days
    return round(OPENED_SHELF_LIFE_MONTHS[FluidKind(item.kind)].value * DAYS_PER_MONTH)


def room_for(item: StockItem) -> float | None:
    """Litres or pieces that there is room for; none without a limit."""
    return item.room_pieces if isinstance(item, Part) else item.tank_litres
