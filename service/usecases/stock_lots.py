"""What is on the shelf, lot by lot: the ledger replayed, first expired first out."""

import heapq
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby

from sqlmodel import Session

from service.store.repositories import stock

# Litres below this are what adding and taking away in floating point leaves behind.
RESIDUE_LITRES = 1e-6


@dataclass(frozen=True, slots=True, order=True)
class Lot:
    """Litres that expire on one day; without a day they keep longest."""

    expires_on: date
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """What one fluid's ledger comes to."""

    litres: float = 0.0
    """Sum of all entries; below zero when more was drawn than the ledger knew of."""

    lots: tuple[Lot, ...] = field(default=())
    """What is left of each lot, in the order in which it expires."""


def read_shelves(session: Session, organisation_id: int) -> dict[int, Shelf]:
    """Replay the ledger of every fluid; fluids without an entry are missing."""
    rows = stock.read_ledger(session, organisation_id)
    return {
        fluid_id: replay((litres, expires_on) for _, litres, expires_on in entries)
        for fluid_id, entries in groupby(rows, key=lambda row: row[0])
    }


def replay(entries: Iterable[tuple[float, date | None]]) -> Shelf:
    """Follow one fluid's entries in the order of time.

    What goes out is taken from the lot that expires first; one that names a day is taken from that day's lot
    before others. What is short is made up by the next receipt.
    """
    heap: list[date] = []
    held: dict[date, float] = {}
    total, short = 0.0, 0.0
    for litres, expires_on in entries:
        total += litres
        day = expires_on or date.max
        if litres >= 0.0:
            filled = min(short, litres)
            short -= filled
            if day not in held:
                heapq.heappush(heap, day)
            held[day] = held.get(day, 0.0) + litres - filled
        else:
            wanted = _take(held, day, -litres) if expires_on is not None else -litres
            short += _take_first(heap, held, wanted)
    lots = tuple(Lot(day, held[day]) for day in sorted(held) if held[day] > RESIDUE_LITRES)
    return Shelf(litres=0.0 if abs(total) < RESIDUE_LITRES else total, lots=lots)


def _take(held: dict[date, float], day: date, wanted: float) -> float:
    """Take from one lot; gives what it lacked."""
    taken = min(held.get(day, 0.0), wanted)
    if taken:
        held[day] -= taken
    return wanted - taken


def _take_first(heap: list[date], held: dict[date, float], wanted: float) -> float:
    """Take from the lots in the order in which they expire; gives what all of them lacked."""
    while wanted > 0.0 and heap:
        wanted = _take(held, heap[0], wanted)
        if held[heap[0]] <= 0.0:
            del held[heapq.heappop(heap)]
    return wanted
