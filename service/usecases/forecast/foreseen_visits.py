"""Which jobs the visits to come will do together, and when they come back, if every vehicle is used as expected."""

from dataclasses import dataclass, replace

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.units import DAYS_PER_WEEK
from service.usecases.visits.bundle_jobs import bundle_jobs
from service.usecases.visits.visit_jobs import VisitJobs


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeseenJobs:
    """Every time that a job is foreseen to be done, by job; each field of shape (times,)."""

    job: Integers
    """Row of the job."""

    visit: Integers
    """What is done in one visit has the same number."""

    due_days: Floats
    """Days from now to its own date; in the visit it may come earlier."""

    is_first: Booleans
    """Whether it is what is in the vehicle now that is changed."""


def foresee_visits(
    jobs: VisitJobs, planning: dict[str, float], planned_days: Floats, begin_days: Floats, last_day: float
) -> ForeseenJobs:
    """Follow the visits of every vehicle, one after the other: what was done in one is due an interval later.

    The plan puts a visit on the first day of its week that has room, so it is taken to be done when the week begins;
    and no list asks for a job twice.

    Parameters
    ----------
    jobs : VisitJobs
        n jobs, by vehicle.
    planning : dict of str to float
        The organisation's planning terms.
    planned_days : ndarray, shape (n,)
        Days from now to the visit that a published list says, NaN where none does; such a job is taken as done.
    begin_days : ndarray, shape (2,)
        Days from now to the beginning of the first week that has no list, and of the week after it. What is late comes
        in the first.
    last_day : float
        Days from now until which visits are followed.
    """
    first, later = begin_days
    is_planned = ~np.isnan(planned_days)
    due = np.where(is_planned, planned_days + jobs.interval_days, jobs.latest_days)
    is_own = ~is_planned
    found = [(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.bool_))]
    open_rows, n_visits = np.arange(len(jobs)), 0
    while open_rows.size:
        visit, day = _next_visits(replace(jobs, latest_days=due).of(open_rows), planning, int(first))
        is_done = day <= last_day
        rows, day = open_rows[is_done], day[is_done]
        found.append((rows, n_visits + visit[is_done], due[rows], is_own[rows]))
        monday = later + DAYS_PER_WEEK * np.floor((day - later) / DAYS_PER_WEEK)
        interval = np.maximum(jobs.interval_days[rows], DAYS_PER_WEEK)
        due[rows] = np.maximum(monday, first) + interval
        is_own[rows] = False
        n_visits += open_rows.size
        open_rows = np.flatnonzero(np.isin(jobs.vehicle_id, jobs.vehicle_id[rows]))
    job, number, days, own = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.argsort(job, kind="stable")
    return ForeseenJobs(job=job[order], visit=number[order], due_days=days[order], is_first=own[order])


def _next_visits(jobs: VisitJobs, planning: dict[str, float], first_day: int) -> tuple[Integers, Floats]:
    """The visit that each job is done in, and its day; never for what waits for a later one than the next."""
    _, made = bundle_jobs(jobs, planning, first_day)
    is_next = np.diff(made.vehicle_index, prepend=-1) > 0
    visit = made.visit_of_job
    return visit, np.where(is_next[visit], made.due_day[visit], np.inf)
