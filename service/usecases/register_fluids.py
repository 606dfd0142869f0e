"""Add fluids as products, and say in which packs they can be bought."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
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
    price_minor: int | None = None
    minimum_packs: int = 1
    price_breaks: Sequence[tuple[int, int]] = ()
    """From how many packs in one order a lower price holds, and that price."""


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
    fluid = fluids.get_fluid(session, caller.organisation_id, reference, for_update=True)
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
    for place, pack in enumerate(packs):
        _check_breaks(pack, place)
        session.add(
            Pack(
                organisation_id=fluid.organisation_id,
                fluid_id=fluid.id,
                litres=pack.litres,
                price_minor=pack.price_minor,
                minimum_packs=pack.minimum_packs,
                price_breaks=[
                    {"from_packs": from_packs, "price_minor": price}
                    for from_packs, price in pack.price_breaks
                ],
            )
        )
    session.flush()


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
