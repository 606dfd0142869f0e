"""When used fluid has to be fetched: the container of every stream at every depot, before it is full."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.planning_terms import planned_with
from service.domain.roles import Scope
from service.domain.used_fluid import WasteStream
from service.engine.arrays import Integers
from service.engine.demand.lattice import LatticeDistributions, distribution_mean, probability_above
from service.store.repositories import fleet, visits
from service.store.tables.organisation import Depot
from service.usecases.access.caller import Caller
from service.usecases.forecast.demand_of_jobs import litres_of_jobs, weeks_of_pool
from service.usecases.forecast.fleet_jobs import FleetJobs, load_fleet_jobs
from service.usecases.stock.used_fluid_levels import UsedFluidLevel, used_fluid_levels

OVERFLOW_PROBABILITY: Final = 0.1
"""A container is fetched before a week in which it would run over with more than this probability. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedCollection:
    """One stream at one depot; streams are never mixed, so each has a container of its own."""

    depot: str
    stream: WasteStream
    litres: float
    expected_litres: float
    """What the jobs of the weeks will add."""

    capacity_litres: float | None
    room_litres: float | None
    last_emptied_at: datetime | None
    fetch_by: date | None
    """First day of the week in which it may run over; none if it lasts, or nobody said how much it holds."""

    overflow_probability: float | None
    """Of running over in that week; where it lasts, by the end of all weeks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectionPlan:
    """All containers, by depot and stream."""

    today: date
    n_weeks: int
    containers: list[PlannedCollection]


def plan_collections(
    session: Session, caller: Caller, now: datetime, wanted_weeks: int | None = None
) -> CollectionPlan:
    """Say how full every container is and when it has to be fetched."""
    caller.require(Scope.READ)
    organisation = fleet.get_organisation(session, caller.organisation_id)
    n_weeks = wanted_weeks or round(planned_with(organisation.planning, "order_plan_weeks"))
    jobs = load_fleet_jobs(session, caller.organisation_id, now, n_weeks)
    today = organisation.today(now)
    return collections_for(session, caller.organisation_id, jobs, today)


def collections_for(session: Session, organisation_id: int, jobs: FleetJobs, today: date) -> CollectionPlan:
    """Do the same for jobs that somebody has collected."""
    vehicles = visits.vehicles_in_use(session, organisation_id)
    depot_ids = np.array([vehicles[key].depot_id for key in jobs.vehicle_id.tolist()], np.int64)
    streams = np.array([EXCHANGE_DEFAULTS[FluidKind(kind)].waste_stream for kind in jobs.kind], np.str_)
    levels = {(level.depot, level.stream): level for level in used_fluid_levels(session, organisation_id)}
    found = []
    for depot in fleet.list_depots(session, organisation_id):
        for stream in WasteStream:
            rows = np.flatnonzero((depot_ids == depot.id) & (streams == stream))
            level = levels.get((depot.reference, stream))
            if rows.size or level is not None:
                found.append(_container(jobs, rows, depot, stream, level, today))
    return CollectionPlan(today=today, n_weeks=len(jobs.weeks), containers=found)


def _container(
    jobs: FleetJobs,
    rows: Integers,
    depot: Depot,
    stream: WasteStream,
    level: UsedFluidLevel | None,
    today: date,
) -> PlannedCollection:
    _, added = weeks_of_pool(litres_of_jobs(jobs, rows), 0)
    litres = 0.0 if level is None else level.litres
    capacity = depot.used_fluid_capacity_by_stream.get(stream)
    week, probability = (None, None) if capacity is None else _overflow(added, capacity - litres)
    fetch_by = None if week is None else max(jobs.weeks[week].first_day, today)
    return PlannedCollection(
        depot=depot.reference,
        stream=stream,
        litres=litres,
        expected_litres=float(distribution_mean(added)[-1]),
        capacity_litres=capacity,
        room_litres=None if capacity is None else max(capacity - litres, 0.0),
        last_emptied_at=None if level is None else level.last_emptied_at,
        fetch_by=fetch_by,
        overflow_probability=probability,
    )


def _overflow(added: LatticeDistributions, room_litres: float) -> tuple[int | None, float]:
    """First week in which a container may run over, and how likely it does by its end."""
    n_weeks = added.first_quantity.size
    # Below zero it runs over already, whatever comes.
    above = probability_above(added, np.full((n_weeks, 1), room_litres))[:, 0]
    is_over = above > OVERFLOW_PROBABILITY
    week = int(np.argmax(is_over)) if is_over.any() else None
    return week, float(above[-1 if week is None else week])
