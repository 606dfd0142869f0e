"""Which jobs the visits to come will take along and how early, if every vehicle is used as expected."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.usecases.week.bundle_jobs import bundle_jobs
from service.usecases.week.visit_jobs import VisitJobs

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeseenVisits:
    """What becomes of n jobs, each field of shape (n,)."""

    first: Integers
    """Jobs with the same number are done in one visit the next time; -1 where that is planned or too far ahead."""

    early_days: Floats
    """Days before its own date at which a job is done the next time."""

    early_again_days: Floats
    """The same on average of the times after that, within the days looked ahead."""


def foresee_visits(
    jobs: VisitJobs, planning: dict[str, float], planned_days: Floats, first_day: int, last_day: float
) -> ForeseenVisits:
    """Follow the visits of every vehicle, one after the other: what was done in one is due an interval later.

    Parameters
    ----------
    jobs : VisitJobs
        n jobs, by vehicle.
    planning : dict of str to float
        The organisation's planning terms.
    planned_days : ndarray, shape (n,)
        Days from now to the visit that a published list says, NaN where none does; such a job is taken as done.
    first_day, last_day : int, float
        Days from now between which visits are followed; what is late comes on the first.
    """
    is_planned = ~np.isnan(planned_days)
    latest = np.where(is_planned, planned_days + jobs.interval_days, jobs.latest_days)
    n_done = is_planned.astype(np.int64)
    first, early = np.full(len(jobs), -1), np.zeros((2, len(jobs)))
    open_rows, n_visits = np.arange(len(jobs)), 0
    while open_rows.size:
        latest = np.maximum(latest, float(first_day))
        visit, day = _next_visits(replace(jobs, latest_days=latest).of(open_rows), planning, first_day)
        is_done = day <= last_day
        rows, day = open_rows[is_done], day[is_done]
        is_first = n_done[rows] == 0
        first[rows[is_first]] = n_visits + visit[is_done][is_first]
        np.add.at(early, (np.where(is_first, 0, 1), rows), latest[rows] - day)
        latest[rows] = day + jobs.interval_days[rows]
        n_done[rows] += 1
        n_visits += open_rows.size
        open_rows = np.flatnonzero(np.isin(jobs.vehicle_id, jobs.vehicle_id[rows]))
    return ForeseenVisits(
        first=first, early_days=early[0], early_again_days=early[1] / np.maximum(n_done - 1, 1)
    )


def _next_visits(jobs: VisitJobs, planning: dict[str, float], first_day: int) -> tuple[Integers, Floats]:
    """The visit that each job is done in, and its day; never for what waits for a later one than the next."""
    _, made = bundle_jobs(jobs, planning, first_day)
    is_next = np.diff(made.vehicle_index, prepend=-1) > 0
    visit = made.visit_of_job
    return visit, np.where(is_next[visit], made.due_day[visit], np.inf)
