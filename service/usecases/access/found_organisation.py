"""Begin: an organisation that everything else will belong to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session, select

from service.domain.zones import zone_named
from service.errors import DuplicateError, NotFoundError
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
    if session.exec(select(Organisation).where(Organisation.name == name)).first() is not None:
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
    rows = list(session.exec(select(Organisation).order_by(Organisation.name)))
    if name is not None:
        rows = [row for row in rows if row.name == name]
    if len(rows) != 1:
        if name is None and not rows:
            raise NotFoundError(
                'There is no organisation yet; make one: `sumpwise organisations create "My workshop"`.'
            )
        raise NotFoundError(
            "Name one organisation with --organisation; `sumpwise organisations list` shows them."
        )
    return rows[0]
