"""Add fluids as products, and say in which packs they can be bought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.domain.external_ids import looks_like_an_id
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fluids
from service.store.tables.fluids import Fluid, Pack
from service.usecases.audit import record_change
from service.usecases.caller import Caller


@dataclass(frozen=True, slots=True, kw_only=True)
class PackOffer:
    """A size in which a fluid can be bought, and its price."""

    litres: float
    price_minor: int
    minimum_packs: int = 1


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
    _set_packs(session, fluid, packs)
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
    fluid = fluids.get_fluid(session, caller.organisation_id, reference)
    for name, value in changes.items():
        setattr(fluid, name, value)
    session.add(fluid)
    if packs is not None:
        for pack in fluids.list_packs(session, caller.organisation_id, fluid.id):
            session.delete(pack)
        session.flush()
        _set_packs(session, fluid, packs)
    record_change(session, caller, now, "changed", "fluid", fluid.id, dict(changes))
    return fluid


def _set_packs(session: Session, fluid: Fluid, packs: Sequence[PackOffer]) -> None:
    if len({pack.litres for pack in packs}) != len(packs):
        raise InvalidInputError.at("/packs", "Name each size once.")
    assert fluid.id is not None  # noqa: S101 - flushed
    for pack in packs:
        session.add(
            Pack(
                organisation_id=fluid.organisation_id,
                fluid_id=fluid.id,
                litres=pack.litres,
                price_minor=pack.price_minor,
                minimum_packs=pack.minimum_packs,
            )
        )
    session.flush()
