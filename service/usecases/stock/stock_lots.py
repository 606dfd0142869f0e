"""What is on the shelf, lot by lot: the ledger replayed, first expired first out."""

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta, tzinfo
from itertools import groupby
from typing import NamedTuple

from sqlmodel import Session

from service.store.repositories import fleet, stock
from service.store.repositories.stock import LedgerEntry
from service.store.repositories.stock_items import ItemKey

# A quantity below this is what adding and taking away in floating point leaves behind.
RESIDUE = 1e-6


@dataclass(frozen=True, slots=True, order=True)
class Lot:
    """Litres or pieces that expire on one day; without a day they keep longest."""

    expires_on: date
    quantity: float
    is_open: bool = False
    """What is left of a pack that was begun."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """What the ledger of one fluid or part comes to, in litres or pieces."""

    quantity: float = 0.0
    """Sum of all entries; below zero when more was drawn than the ledger knew of."""

    lots: tuple[Lot, ...] = field(default=())
    """What is left of each lot, in the order in which it expires."""


class _LotKey(NamedTuple):
    expires_on: date
    is_open: bool
    pack_quantity: float
    """0 where nobody said how large the packs are: then none is known to be open."""


def read_shelves(
    session: Session, organisation_id: int, opened_days: Mapping[ItemKey, int | None]
) -> dict[ItemKey, Shelf]:
    """Replay the ledger of every item; those without an entry are missing.

    `opened_days` says how long a pack keeps once it is open, by item; none: as long as a sealed one.
    """
    zone = fleet.get_organisation(session, organisation_id).zone
    entries = stock.read_ledger(session, organisation_id)
    return {
        key: replay(own, zone, opened_days.get(key))
        for key, own in groupby(entries, key=lambda entry: ItemKey(entry.fluid_id, entry.part_id))
    }


def replay(entries: Iterable[LedgerEntry], zone: tzinfo, opened_days: int | None = None) -> Shelf:
    """Follow one item's entries in the order of time; days are those of `zone`.

    What goes out is taken from the lot that expires first; one that names a day is taken from that day's lot
    before others. What is short is made up by the next receipt. Of a pack that is begun, the rest expires when an
    open pack does, if that is earlier; as nothing else expires earlier, it is used before the next pack is opened.
    """
    shelf = _Replay(zone, opened_days)
    for entry in entries:
        shelf.total += entry.quantity
        if entry.quantity >= 0.0:
            shelf.put(entry)
        else:
            shelf.take(entry)
    lots = sorted(
        Lot(key.expires_on, held, key.is_open) for key, held in shelf.held.items() if held > RESIDUE
    )
    return Shelf(quantity=0.0 if abs(shelf.total) < RESIDUE else shelf.total, lots=tuple(lots))


class _Replay:
    """The lots as they stand while the entries are followed."""

    def __init__(self, zone: tzinfo, opened_days: int | None) -> None:
        self.zone = zone
        self.opened_days = opened_days
        self.heap: list[_LotKey] = []
        self.held: dict[_LotKey, float] = {}
        self.total = 0.0
        self.short = 0.0

    def put(self, entry: LedgerEntry) -> None:
        """Add what came, less what was short."""
        filled = min(self.short, entry.quantity)
        self.short -= filled
        key = _LotKey(entry.expires_on or date.max, is_open=False, pack_quantity=entry.pack_quantity or 0.0)
        self._add(key, entry.quantity)
        if filled:
            self._take_of(key, filled, self._day_of(entry))

    def take(self, entry: LedgerEntry) -> None:
        """Take away what went."""
        wanted, day = -entry.quantity, self._day_of(entry)
        if entry.expires_on is not None:
            for key in sorted(key for key in self.held if key.expires_on == entry.expires_on):
                wanted = self._take_of(key, wanted, day)
        while wanted > 0.0 and self.heap:
            key = self.heap[0]
            wanted = self._take_of(key, wanted, day)
            if self.held[key] <= 0.0:
                # What is left of its last pack may have come before it.
                self.heap.remove(key)
                heapq.heapify(self.heap)
                del self.held[key]
        self.short += wanted

    def _day_of(self, entry: LedgerEntry) -> date:
        return entry.at.astimezone(self.zone).date()

    def _take_of(self, key: _LotKey, wanted: float, day: date) -> float:
        """Take from one lot; gives what it lacked."""
        taken = min(self.held.get(key, 0.0), wanted)
        if taken:
            self.held[key] -= taken
            self._open(key, day)
        return wanted - taken

    def _open(self, key: _LotKey, day: date) -> None:
        """Put what is left of a pack that was begun into a lot of its own."""
        if self.opened_days is None or not key.pack_quantity:
            return
        rest = self.held[key] % key.pack_quantity
        if RESIDUE < rest < key.pack_quantity - RESIDUE:
            self.held[key] -= rest
            opened = min(key.expires_on, day + timedelta(days=self.opened_days))
            self._add(_LotKey(opened, is_open=True, pack_quantity=0.0), rest)

    def _add(self, key: _LotKey, quantity: float) -> None:
        if key not in self.held:
            heapq.heappush(self.heap, key)
        self.held[key] = self.held.get(key, 0.0) + quantity
