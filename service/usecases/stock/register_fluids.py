"""Add fluids as products, and say in which packs they can be bought."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.domain.external_ids import looks_like_an_id
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fluids
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.fluids import Fluid
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fluids.weigh_sample import FLUID_FACTS
from service.usecases.stock.offer_packs import PackOffer, change_item, set_packs


def add_fluid(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    kind: FluidKind,
    facts: Mapping[str, Any],
    packs: Sequence[PackOffer] = (),
) -> Fluid:
    """Add a fluid; `facts` may name the other columns of the table.

    Raises
    ------
    DuplicateError
        If the article name is taken.
    """
    caller.require(Scope.PLANNING)
    if looks_like_an_id(reference):
        raise InvalidInputError.at("/fluid", "Looks like an id of ours; choose another article name.")
    if fluids.find_fluid(session, caller.organisation_id, reference) is not None:
        raise DuplicateError(f"There is a fluid “{reference}” already.")
    columns = {name: value for name, value in facts.items() if value is not None}
    fluid = Fluid(
        organisation_id=caller.organisation_id, reference=reference, kind=kind, created_at=now, **columns
    )
    session.add(fluid)
    session.flush()
    set_packs(session, fluid, packs)
    record_change(session, caller, now, "added", "fluid", fluid.id, {"fluid": reference, "kind": str(kind)})
    return fluid


def change_fluid(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    changes: Mapping[str, Any],
    packs: Sequence[PackOffer] | None = None,
) -> Fluid:
    """Change what `changes` names; packs given replace all packs."""
    caller.require(Scope.PLANNING)
    fluid = fluids.get_fluid(session, caller.organisation_id, reference, for_update=True)
    change_item(session, fluid, changes, packs)
    if FLUID_FACTS & changes.keys():
        holders = fluids.vehicle_ids_with_fluid(session, caller.organisation_id, fluid.id or 0)
        mark_stale(session, caller.organisation_id, holders, now)
    record_change(session, caller, now, "changed", "fluid", fluid.id, dict(changes))
    return fluid
