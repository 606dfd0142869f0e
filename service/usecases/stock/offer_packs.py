"""Say in which packs a fluid or a part can be bought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlmodel import Session

from service.errors import InvalidInputError
from service.store.repositories import stock_items
from service.store.repositories.stock_items import ItemKey, StockItem
from service.store.tables.fluids import Pack
from service.usecases.stock.stock_items import Amount


@dataclass(frozen=True, slots=True, kw_only=True)
class PackOffer:
    """A size in which a fluid or a part can be bought, and its price."""

    litres: float | None = None
    pieces: int | None = None
    price_minor: int | None = None
    minimum_packs: int = 1
    price_breaks: Sequence[tuple[int, int]] = ()
    """From how many packs in one order a lower price holds, and that price."""


def set_packs(session: Session, item: StockItem, packs: Sequence[PackOffer]) -> None:
    """Replace all packs of an item."""
    for old in stock_items.list_packs(session, item.organisation_id, item):
        session.delete(old)
    session.flush()
    sizes = [
        Amount(litres=pack.litres, pieces=pack.pieces).of(item, f"/packs/{place}")
        for place, pack in enumerate(packs)
    ]
    if len(set(sizes)) != len(sizes):
        raise InvalidInputError.at("/packs", "Name each size once.")
    key = ItemKey.of(item)
    for place, (pack, size) in enumerate(zip(packs, sizes, strict=True)):
        _check_breaks(pack, place)
        session.add(
            Pack(
                organisation_id=item.organisation_id,
                fluid_id=key.fluid_id,
                part_id=key.part_id,
                quantity=size,
                price_minor=pack.price_minor,
                minimum_packs=pack.minimum_packs,
                price_breaks=[
                    {"from_packs": from_packs, "price_minor": price}
                    for from_packs, price in pack.price_breaks
                ],
            )
        )
    session.flush()


def change_item(
    session: Session, item: StockItem, changes: Mapping[str, Any], packs: Sequence[PackOffer] | None
) -> None:
    """Change the facts of an item that are named, and replace its packs if there are other ones."""
    for name, value in changes.items():
        setattr(item, name, value)
    session.add(item)
    if packs is not None:
        set_packs(session, item, packs)


def _check_breaks(pack: PackOffer, place: int) -> None:
    if pack.price_breaks and pack.price_minor is None:
        raise InvalidInputError.at(
            f"/packs/{place}/price_minor", "A lower price for more needs a first price."
        )
    counts = [1, *(from_packs for from_packs, _ in pack.price_breaks)]
    prices = [pack.price_minor or 0, *(price for _, price in pack.price_breaks)]
    rises = all(later > earlier for earlier, later in pairwise(counts))
    falls = all(later < earlier for earlier, later in pairwise(prices))
    if not (rises and falls):
        raise InvalidInputError.at(
            f"/packs/{place}/price_breaks", "More packs must cost less each: rising counts, falling prices."
        )
