"""An organisation's own settings, and those of its depots."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import holidays
from sqlmodel import Session

from service.domain.external_ids import looks_like_an_id
from service.domain.roles import Scope
from service.domain.zones import zone_named
from service.errors import DuplicateError, InvalidInputError, NotFoundError
from service.store.repositories import fleet
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.organisation import Depot, Organisation
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fleet.register_vehicles import DEFAULT_BAY_MINUTES
from service.usecases.fleet.required_fields import refuse_nothing

MAY_BE_NOTHING = frozenset({"holiday_region", "used_fluid_capacity_litres"})


def change_organisation(
    session: Session, caller: Caller, now: datetime, changes: Mapping[str, Any]
) -> Organisation:
    """Change what `changes` names; weeks stay told apart by their Monday, so none is published twice or lost."""
    caller.require(Scope.ADMIN)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    if "time_zone" in changes:
        zone_named("/time_zone", changes["time_zone"])
    before = _apply(organisation, changes)
    session.add(organisation)
    session.flush()
    if "time_zone" in changes:
        # A service late in the evening is on another date there, and so is what is counted from it.
        everyone = fleet.list_vehicle_ids(session, caller.organisation_id)
        mark_stale(session, caller.organisation_id, everyone, now)
    detail = {"before": before, "after": dict(changes)}
    record_change(session, caller, now, "changed", "organisation", organisation.id, detail)
    return organisation


def make_depot(
    session: Session, caller: Caller, now: datetime, reference: str, facts: Mapping[str, Any]
) -> Depot:
    """Make a depot; what is not said of it gets the usual values.

    Raises
    ------
    DuplicateError
        If there is one of this name.
    """
    caller.require(Scope.PLANNING)
    _require_free_reference(session, caller, reference)
    depot = Depot(
        organisation_id=caller.organisation_id,
        reference=reference,
        bay_minutes=list(DEFAULT_BAY_MINUTES),
        created_at=now,
    )
    _apply(depot, _checked(facts))
    session.add(depot)
    session.flush()
    record_change(session, caller, now, "made", "depot", depot.id, {"depot": reference})
    return depot


def change_depot(
    session: Session, caller: Caller, now: datetime, reference: str, changes: Mapping[str, Any]
) -> Depot:
    """Change what `changes` names of a depot."""
    caller.require(Scope.PLANNING)
    refuse_nothing(changes, MAY_BE_NOTHING)
    depot = get_depot(session, caller, reference, for_update=True)
    if changes.get("reference", depot.reference) != depot.reference:
        _require_free_reference(session, caller, changes["reference"])
    checked = _checked(changes)
    before = _apply(depot, checked)
    session.add(depot)
    session.flush()
    record_change(session, caller, now, "changed", "depot", depot.id, {"before": before, "after": checked})
    return depot


def get_depot(session: Session, caller: Caller, reference: str, *, for_update: bool = False) -> Depot:
    """Depot by its name or id; locked if it will be changed.

    Raises
    ------
    NotFoundError
        If the organisation has none.
    """
    depot = fleet.find_depot(session, caller.organisation_id, reference, for_update=for_update)
    if depot is None:
        raise NotFoundError("There is no depot with this name or id.")
    return depot


def check_holiday_region(region: str) -> str:
    """Give back a region whose public holidays are known.

    Raises
    ------
    InvalidInputError
        If the kept calendar has no such country or part of one.
    """
    country, _, part = region.partition("-")
    supported = holidays.list_supported_countries(include_aliases=False)
    if country not in supported or len(country) != 2 or (part and part not in supported[country]):
        raise InvalidInputError.at(
            "/holiday_region",
            "Not a region whose holidays are known; write GB, or DE-BY for a part of a country.",
        )
    return region


def _checked(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Facts of a depot in the form they are stored in."""
    checked = dict(facts)
    if checked.get("holiday_region") is not None:
        check_holiday_region(checked["holiday_region"])
    if checked.get("closed_on") is not None:
        days: set[date] = set(checked["closed_on"])
        checked["closed_on"] = [day.isoformat() for day in sorted(days)]
    return checked


def _apply(row: Organisation | Depot, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Set what is named; gives what it was before."""
    refuse_nothing(changes, MAY_BE_NOTHING)
    before: dict[str, Any] = {}
    for name, value in changes.items():
        before[name] = getattr(row, name)
        setattr(row, name, value)
    return before


def _require_free_reference(session: Session, caller: Caller, reference: str) -> None:
    if looks_like_an_id(reference):
        raise InvalidInputError.at("/depot", "Looks like one of this service's own ids; choose another name.")
    if fleet.find_depot(session, caller.organisation_id, reference) is not None:
        raise DuplicateError(f"There is a depot “{reference}” already.")
