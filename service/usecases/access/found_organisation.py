"""Begin: an organisation that everything else will belong to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from service.domain.zones import zone_named
from service.errors import DuplicateError, NotFoundError
from service.store.repositories import fleet
from service.store.tables.organisation import Organisation
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller, system_caller


def found_organisation(
    session: Session, now: datetime, name: str, facts: Mapping[str, Any]
) -> tuple[Organisation, Caller]:
    """Make an organisation, and a caller who may do anything for it.

    Raises
    ------
    DuplicateError
        If the name is taken.
    """
    if fleet.organisation_named(session, name) is not None:
        raise DuplicateError(f"There is an organisation “{name}” already.")
    zone_named("/time_zone", str(facts.get("time_zone", "UTC")))
    organisation = Organisation(name=name, created_at=now, **facts)
    session.add(organisation)
    session.flush()
    caller = system_caller(organisation.id or 0, "set-up")
    record_change(session, caller, now, "founded", "organisation", organisation.id, {"name": name})
    return organisation, caller


def find_organisation(session: Session, name: str | None) -> Organisation:
    """Organisation by name, or the only one there is.

    Raises
    ------
    NotFoundError
        If there is none of this name, or no name was given and there is not exactly one.
    """
    rows = fleet.list_organisations(session) if name is None else [fleet.organisation_named(session, name)]
    if not rows:
        raise NotFoundError(
            'There is no organisation yet; make one: `sumpwise organisations create "My workshop"`.'
        )
    if len(rows) > 1 or rows[0] is None:
        raise NotFoundError(
            "Name one organisation with --organisation; `sumpwise organisations list` shows them."
        )
    return rows[0]
