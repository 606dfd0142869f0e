"""How full the containers of used fluid are: what services drained, less what was fetched."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.roles import Scope
from service.domain.used_fluid import WasteStream
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, stock
from service.store.repositories.stock import Container
from service.store.tables.stock import UsedFluidCollection
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller

STREAM_OF_KIND: Final = {
    str(kind): str(defaults.waste_stream) for kind, defaults in EXCHANGE_DEFAULTS.items()
}
"""Where what comes out of each kind of compartment belongs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedFluidLevel:
    """One stream at one depot; streams are never mixed, so each has a container of its own."""

    depot: str
    stream: WasteStream
    litres: float
    last_emptied_at: datetime | None
    depot_capacity_litres: float | None
    """Room for all streams of the depot together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCollection:
    """Used fluid that was fetched."""

    depot: str
    stream: WasteStream
    litres: float
    at: datetime | None = None
    is_emptied: bool = True
    reference: str | None = None
    note: str | None = None


def used_fluid_levels(session: Session, organisation_id: int) -> list[UsedFluidLevel]:
    """Work out every stream of every depot that has ever held any."""
    emptied = stock.last_emptied(session, organisation_id)
    drained = stock.drained_since_emptied(session, organisation_id, STREAM_OF_KIND)
    fetched = stock.fetched_since_emptied(session, organisation_id)
    levels = []
    for depot in fleet.list_depots(session, organisation_id):
        for stream in WasteStream:
            container = Container(depot.id or 0, stream)
            emptied_at = emptied.get(container)
            litres = max(drained.get(container, 0.0) - fetched.get(container, 0.0), 0.0)
            if litres > 0.0 or emptied_at is not None:
                levels.append(
                    UsedFluidLevel(
                        depot=depot.reference,
                        stream=stream,
                        litres=litres,
                        last_emptied_at=emptied_at,
                        depot_capacity_litres=depot.used_fluid_capacity_litres,
                    )
                )
    return levels


def record_collection(
    session: Session, caller: Caller, now: datetime, new: NewCollection
) -> UsedFluidCollection:
    """Write down that used fluid was fetched.

    Raises
    ------
    DuplicateError
        If the number of the transfer paper is on record.
    """
    caller.require(Scope.STOCK)
    depot = fleet.find_depot(session, caller.organisation_id, new.depot)
    if depot is None:
        raise InvalidInputError.at("/depot", "There is no depot with this name or id.")
    if new.reference is not None and stock.find_collection(session, caller.organisation_id, new.reference):
        raise DuplicateError("A collection with this reference is on record already; nothing was added.")
    row = UsedFluidCollection(
        organisation_id=caller.organisation_id,
        depot_id=depot.id or 0,
        stream=new.stream,
        at=now if new.at is None else plausibility.past_instant("/at", new.at, now),
        litres=new.litres,
        is_emptied=new.is_emptied,
        reference=new.reference,
        note=new.note,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
    session.add(row)
    session.flush()
    detail = {"depot": depot.reference, "stream": str(new.stream), "litres": new.litres}
    record_change(session, caller, now, "recorded", "used fluid collection", row.id, detail)
    return row


def list_collections(
    session: Session, caller: Caller, *, before_id: int | None = None, limit: int
) -> list[tuple[UsedFluidCollection, str]]:
    """What was fetched, the latest entry first, each with the name of its depot."""
    caller.require(Scope.READ)
    depots = fleet.depot_names(session, caller.organisation_id)
    rows = stock.list_collections(session, caller.organisation_id, before_id=before_id, limit=limit)
    return [(row, depots[row.depot_id]) for row in rows]
