"""A part of the fleet with what is due next on each vehicle."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from service.domain.roles import Scope
from service.store.repositories import fleet, vehicle_search
from service.store.tables.vehicles import Vehicle
from service.usecases.access.caller import Caller
from service.usecases.due.project_due import project_due
from service.usecases.usage.estimate_usage import current_usage


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetPart:
    """Some vehicles; the mappings are by vehicle."""

    today: date
    vehicles: Sequence[Vehicle]
    n_found: int
    depots: Mapping[int | None, str]
    odometer_km: Mapping[int, float]
    """Expected now; vehicles without a reading are missing."""

    next_due: Mapping[int, tuple[date, str]]
    """Most likely day and compartment; vehicles with nothing due within the horizon are missing."""


def list_fleet(
    session: Session, caller: Caller, now: datetime, *, part: str, depot: str, offset: int, limit: int
) -> FleetPart:
    """Look vehicles up by a part of their number and their depot, and project them."""
    caller.require(Scope.READ)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    known = fleet.find_depot(session, caller.organisation_id, depot) if depot else None
    rows, n_found = vehicle_search.search_vehicles(
        session,
        caller.organisation_id,
        part=part,
        depot_id=None if not depot else -1 if known is None else known.id,
        offset=offset,
        limit=limit,
    )
    ids = sorted(row.id for row in rows if row.id is not None)
    usage = current_usage(session, caller.organisation_id, ids)
    projection = project_due(session, caller.organisation_id, ids, usage, now, organisation.zone)
    next_due: dict[int, tuple[date, str]] = {}
    columns = projection.compartments
    for key, name, day in zip(
        columns["vehicle_id"], columns["reference"], projection.due_dates[1], strict=True
    ):
        if day is not None and (key not in next_due or day < next_due[key][0]):
            next_due[key] = (day, name)
    return FleetPart(
        today=projection.today,
        vehicles=rows,
        n_found=n_found,
        depots=fleet.depot_names(session, caller.organisation_id),
        odometer_km={
            key: float(projection.expected_odometer_km[place])
            for place, key in enumerate(ids)
            if usage.odometer.n_readings[place] > 0
        },
        next_due=next_due,
    )
