"""Keep parts that are used once a service, such as seals and washers, and say in which packs they can be bought."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.domain.external_ids import looks_like_an_id
from service.domain.roles import Scope
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import stock_items
from service.store.tables.parts import Part
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.stock.offer_packs import PackOffer, change_item, set_packs


def add_part(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    facts: Mapping[str, Any],
    packs: Sequence[PackOffer] = (),
) -> Part:
    """Add a part by the name that compartments call it; `facts` may name the other columns of the table.

    Raises
    ------
    DuplicateError
        If the name is taken.
    """
    caller.require(Scope.PLANNING)
    if looks_like_an_id(reference):
        raise InvalidInputError.at("/part", "Looks like an id of ours; choose another name.")
    if stock_items.find_part(session, caller.organisation_id, reference) is not None:
        raise DuplicateError(f"There is a part “{reference}” already.")
    columns = {name: value for name, value in facts.items() if value is not None}
    part = Part(organisation_id=caller.organisation_id, reference=reference, created_at=now, **columns)
    session.add(part)
    session.flush()
    set_packs(session, part, packs)
    record_change(session, caller, now, "added", "part", part.id, {"part": reference})
    return part


def change_part(
    session: Session,
    caller: Caller,
    now: datetime,
    reference: str,
    changes: Mapping[str, Any],
    packs: Sequence[PackOffer] | None = None,
) -> Part:
    """Change what `changes` names; packs given replace all packs."""
    caller.require(Scope.PLANNING)
    part = stock_items.get_part(session, caller.organisation_id, reference, for_update=True)
    change_item(session, part, changes, packs)
    record_change(session, caller, now, "changed", "part", part.id, dict(changes))
    return part
