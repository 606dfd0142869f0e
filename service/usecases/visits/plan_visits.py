"""The visits of the coming weeks: jobs bundled where one visit is cheaper than two, visits levelled to the bays."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.planning_terms import planned_with
from service.domain.service_work import VISIT_SETUP_MINUTES
from service.domain.weeks import IsoWeek, weeks_from
from service.engine.arrays import Booleans, Floats, Integers
from service.engine.visits.requests import NO_DAY, BayHours, VisitOutcome
from service.store.repositories import fleet
from service.units import DAYS_PER_WEEK, MINUTES_PER_HOUR
from service.usecases.visits.ask_for_days import ask_for_days
from service.usecases.visits.bundle_jobs import bundle_jobs
from service.usecases.visits.depot_calendar import open_minutes
from service.usecases.visits.fixed_days import Fixed, read_fixed
from service.usecases.visits.fleet_names import VEHICLES_A_BLOCK, FleetNames, listing_probability
from service.usecases.visits.kept_jobs import collect_changed
from service.usecases.visits.kept_work import KeptWork
from service.usecases.visits.level_depots import level_depots
from service.usecases.visits.visit_jobs import VisitJobs, collect_jobs, first_week, is_asked_for
from service.usecases.visits.visit_plan import PlannedVisits, VisitPlan

PLAN_WEEKS: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bundles:
    """Visits before they have a day."""

    visit_of_job: Integers
    vehicle_id: Integers
    labour_minutes: Floats
    saved_minor: Floats
    is_split: Booleans


def plan_visits(
    session: Session,
    names: FleetNames,
    week: IsoWeek,
    now: datetime,
    n_weeks: int = PLAN_WEEKS,
    kept: KeptWork | None = None,
) -> VisitPlan:
    """Plan the visits of some weeks; weeks that are over are left out, their work comes in the present one.

    What an earlier plan left in `kept` is used where nothing that it comes from has changed; the plan is the same.
    """
    today = names.organisation.today(now)
    first = max(week, IsoWeek.of(today))
    weeks = weeks_from(first, n_weeks)
    depots = fleet.list_depots(session, names.organisation.id or 0)
    days = [day for one in weeks for day in one.days()]
    jobs = _collect(session, names, weeks, now, kept)
    fixed = read_fixed(session, names.organisation.id or 0, first, today)
    minutes = open_minutes(depots, days, today)
    planning = names.organisation.planning
    bays = _bays(minutes, planning)
    row_of_depot = {depot.id: row for row, depot in enumerate(depots)}
    depot_of = {key: row_of_depot[facts.depot_id] for key, facts in names.vehicles.items()}
    bundles = _bundle(jobs, planning, max((first.first_day - today).days, 0), bays, depot_of)
    depot_row = np.array([depot_of[key] for key in bundles.vehicle_id.tolist()], np.int64)
    visits = _unplaced(jobs, bundles, depot_row, planning, listing_probability(names.organisation))
    rows = np.flatnonzero((visits.due_week < n_weeks) | (visits.is_first & _has_fixed(visits, fixed)))
    requests = ask_for_days(visits, rows, names, fixed, weeks)
    levelled = level_depots(requests, bays, {} if kept is None else kept.depots)
    booked, overbooked = np.zeros((2, *minutes.shape))
    for row, one in levelled.items():
        visits.day[rows[one.rows]] = one.levelled.day
        visits.outcome[rows[one.rows]] = one.levelled.outcome
        booked[row], overbooked[row] = one.levelled.booked_hours, one.levelled.overbooked_hours
    if kept is not None:
        kept.depots = levelled
    return VisitPlan(
        weeks=weeks,
        today=today,
        depots=depots,
        jobs=jobs,
        visit_of_job=bundles.visit_of_job,
        visits=visits,
        fixed=fixed,
        open_minutes=minutes,
        booked_minutes=booked * MINUTES_PER_HOUR,
        overbooked_minutes=overbooked * MINUTES_PER_HOUR,
    )


def _collect(
    session: Session, names: FleetNames, weeks: tuple[IsoWeek, ...], now: datetime, kept: KeptWork | None
) -> VisitJobs:
    if kept is None or len(names.vehicles) > VEHICLES_A_BLOCK:
        return collect_jobs(session, names, weeks, now)
    kept.jobs = found = collect_changed(session, names, weeks, now, kept.jobs)
    return found.jobs


def _bays(minutes: Floats, planning: dict[str, float]) -> BayHours:
    """Bay hours, and as much overtime as the organisation allows."""
    hours = minutes / MINUTES_PER_HOUR
    return BayHours(
        regular_hours=hours,
        overtime_hours=planned_with(planning, "overtime_share") * hours,
        overtime_cost_per_hour=np.full(minutes.shape[0], planned_with(planning, "overtime_minor_an_hour")),
    )


def _bundle(
    jobs: VisitJobs, planning: dict[str, float], first_day: int, bays: BayHours, depot_of: dict[int, int]
) -> _Bundles:
    """Make visits of jobs; one that is longer than any day of its depot is taken apart again."""
    vehicle_ids, made = bundle_jobs(jobs, planning, first_day)
    minutes = VISIT_SETUP_MINUTES.value + _sums(jobs.labour_minutes, made.visit_of_job)
    longest = (bays.regular_hours + bays.overtime_hours).max(axis=1, initial=0.0) * MINUTES_PER_HOUR
    depot = np.array([depot_of[key] for key in vehicle_ids[made.vehicle_index].tolist()], np.int64)
    room = longest[depot] if longest.size else np.zeros(0)
    is_apart = (minutes > room) & (room > 0.0) & (made.n_jobs > 1)
    job_alone = is_apart[made.visit_of_job]
    # Jobs of a visit that is taken apart are numbered on, in the order of their dates.
    order = np.lexsort((np.where(job_alone, jobs.latest_days, 0.0), made.visit_of_job))
    opens = np.ones(len(jobs), np.bool_)
    opens[1:] = job_alone[order][1:] | (np.diff(made.visit_of_job[order]) > 0)
    visit_of_job = np.empty(len(jobs), np.int64)
    visit_of_job[order] = np.cumsum(opens) - 1
    source = made.visit_of_job[order][opens]
    return _Bundles(
        visit_of_job=visit_of_job,
        vehicle_id=vehicle_ids[made.vehicle_index][source],
        labour_minutes=VISIT_SETUP_MINUTES.value + _sums(jobs.labour_minutes, visit_of_job),
        saved_minor=np.where(is_apart, 0.0, made.saved_cost)[source],
        is_split=is_apart[source],
    )


def _unplaced(
    jobs: VisitJobs, bundles: _Bundles, depot_row: Integers, planning: dict[str, float], threshold: float
) -> PlannedVisits:
    """Describe the visits: what their jobs add up to, none with a day yet."""
    n_visits = bundles.vehicle_id.size
    due = np.zeros((n_visits, jobs.due_by_end.shape[1]))
    np.maximum.at(due, bundles.visit_of_job, jobs.due_by_end)
    is_due = is_asked_for(due, threshold)
    is_contaminated = _sums(jobs.is_contaminated.astype(np.float64), bundles.visit_of_job) > 0.0
    early = DAYS_PER_WEEK * _sums(jobs.early_minor_a_day, bundles.visit_of_job)
    factor = np.where(is_contaminated, planned_with(planning, "contaminated_factor"), 1.0)
    overdue = planned_with(planning, "overdue_minor_a_week") * factor
    vehicle = bundles.vehicle_id
    latest = np.full(n_visits, np.inf)
    np.minimum.at(latest, bundles.visit_of_job, jobs.latest_days)
    return PlannedVisits(
        vehicle_id=vehicle,
        depot_row=depot_row,
        labour_minutes=bundles.labour_minutes,
        due_week=first_week(is_due),
        latest_days=latest,
        # Before the week in which it would be listed a visit is not late; from then on with its probability.
        overdue_probability=np.where(is_due, due, 0.0),
        early_minor_a_week=early,
        # At least so much that the cheapest week is the one in which it would be listed.
        overdue_minor_a_week=np.maximum(overdue, early * (1.0 - threshold) / threshold),
        saved_minor=bundles.saved_minor,
        is_first=np.concatenate([np.ones(min(n_visits, 1), np.bool_), vehicle[1:] != vehicle[:-1]]),
        is_split=bundles.is_split,
        day=np.full(n_visits, NO_DAY, np.int64),
        outcome=np.full(n_visits, VisitOutcome.DUE_LATER, np.int64),
    )


def _has_fixed(visits: PlannedVisits, fixed: Fixed) -> Booleans:
    keys = np.array(list(fixed.days), np.int64)
    return np.isin(visits.vehicle_id, keys)


def _sums(values: Floats, group: Integers) -> Floats:
    """Sum values by group; every group has a member."""
    n_groups = int(group.max(initial=-1)) + 1
    return np.bincount(group, weights=values, minlength=n_groups).astype(np.float64)
