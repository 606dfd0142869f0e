"""Jobs that were collected a moment ago: only vehicles of which something changed since are projected again.

Nothing is guessed. Everything that a vehicle's jobs come from is read and compared with what was read before; what is
the same has the same jobs.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain.weeks import IsoWeek
from service.store.repositories import ageing_fits, projections, visits
from service.store.repositories.projections import PLANNED_COLUMNS, StoredUsage
from service.usecases.due.project_due import followed, project_columns
from service.usecases.usage.estimate_usage import current_usage
from service.usecases.usage.usage_model import known_usage
from service.usecases.visits.fleet_names import FleetNames, listing_probability
from service.usecases.visits.visit_jobs import VisitJobs, jobs_of, joined_jobs

_NAMES: Final = [one.key for one in PLANNED_COLUMNS]
_ID: Final = _NAMES.index("id")
_VEHICLE: Final = _NAMES.index("vehicle_id")

Rows = dict[int, tuple[Any, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptJobs:
    """The jobs of a fleet, and all that they come from."""

    jobs: VisitJobs
    shared: tuple[Any, ...]
    """What all vehicles rest on."""

    rows: Rows
    """Compartments with their states as they were read, by key."""

    usage: Mapping[int, StoredUsage]
    """By vehicle; missing where it did not rest on all readings."""


def collect_changed(
    session: Session, names: FleetNames, weeks: tuple[IsoWeek, ...], now: datetime, before: KeptJobs | None
) -> KeptJobs:
    """Collect the jobs of a fleet as `collect_jobs` does, those of vehicles that are as they were from before."""
    organisation_id, vehicle_ids = names.organisation.id or 0, sorted(names.vehicles)
    prices = visits.prices_minor_a_litre(session, organisation_id)
    shared = _shared(session, names, weeks, now, prices)
    read = projections.read_compartment_rows(session, organisation_id, vehicle_ids, PLANNED_COLUMNS)
    rows = {row[_ID]: row for row in read}
    usage = projections.read_usage(session, organisation_id, vehicle_ids)
    is_comparable = before is not None and before.shared == shared
    same = _same_vehicles(before, rows, usage) if before is not None and is_comparable else set()
    changed = [key for key in vehicle_ids if key not in same]
    parts = []
    if before is not None and same:
        parts.append(before.jobs.of_vehicles(same))
    if changed:
        asked = set(changed)
        own = [row for row in read if row[_VEHICLE] in asked]
        columns = projections.compartment_columns(PLANNED_COLUMNS, own)
        use = current_usage(session, organisation_id, changed, usage)
        projection = project_columns(
            session,
            organisation_id,
            changed,
            followed(session, organisation_id, changed, use, columns),
            use,
            now,
            names.organisation.zone,
            (listing_probability(names.organisation),),
        )
        parts.append(jobs_of(projection, names, weeks, prices))
    return KeptJobs(jobs=joined_jobs(parts, len(weeks)), shared=shared, rows=rows, usage=usage)


def _shared(
    session: Session,
    names: FleetNames,
    weeks: tuple[IsoWeek, ...],
    now: datetime,
    prices: Mapping[int, float],
) -> tuple[Any, ...]:
    """What the jobs of all vehicles come from, beside the vehicles' own facts."""
    organisation = names.organisation
    fits = ageing_fits.fits_in_force(session, organisation.id or 0)
    return (
        organisation.id,
        organisation.time_zone,
        dict(organisation.planning),
        weeks,
        now,
        prices,
        {group: fit.multiplier_after for group, fit in fits.items()},
        known_usage(session, organisation.id or 0).seasons,
    )


def _same_vehicles(before: KeptJobs, rows: Rows, usage: Mapping[int, StoredUsage]) -> set[int]:
    """Vehicles with the same compartments in the same states, and the same stored use."""
    same = {key for key, stored in usage.items() if before.usage.get(key) == stored}
    differing = {row[_VEHICLE] for key, row in rows.items() if before.rows.get(key) != row}
    return same - differing - {before.rows[key][_VEHICLE] for key in before.rows.keys() - rows.keys()}
