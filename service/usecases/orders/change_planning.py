"""Show and change the terms that an organisation plans with."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from service.domain.planning_terms import PLANNING_TERMS
from service.domain.roles import Scope
from service.errors import InvalidInputError
from service.store.repositories import fleet
from service.store.tables.organisation import Organisation
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller


def change_planning(
    session: Session, caller: Caller, now: datetime, terms: Mapping[str, float | None]
) -> Organisation:
    """Set some terms; what is given as none goes back to its default, what is not named stays.

    Raises
    ------
    InvalidInputError
        If there is no such term, or it cannot have that value.
    """
    caller.require(Scope.PLANNING)
    organisation = fleet.lock_organisation(session, caller.organisation_id)
    before, planning = dict(organisation.planning), dict(organisation.planning)
    for name, value in terms.items():
        term = PLANNING_TERMS.get(name)
        if term is None:
            raise InvalidInputError.at(
                "/terms", f"There is no such term; choose from {', '.join(PLANNING_TERMS)}."
            )
        if value is None:
            planning.pop(name, None)
            continue
        if not term.allows(value):
            whole = "a whole number " if term.is_whole else ""
            raise InvalidInputError.at(
                f"/terms/{name}", f"Must be {whole}between {term.minimum:g} and {term.maximum:.0f}."
            )
        planning[name] = value
    organisation.planning = planning
    session.add(organisation)
    session.flush()
    detail = {"before": before, "after": planning}
    record_change(session, caller, now, "changed", "planning terms", organisation.id, detail)
    return organisation
