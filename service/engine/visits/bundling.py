"""Which services of one vehicle become one visit, because that is cheaper than two."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitBundles:
    """Visits of all vehicles, ordered by vehicle and date."""

    visit_of_job: Integers
    """Shape (jobs,): the visit that each job joins."""
    vehicle_index: Integers
    """Shape (visits,)."""
    due_day: Floats
    """Shape (visits,): the earliest latest date among its jobs. [d]"""
    n_jobs: Integers
    """Shape (visits,)."""
    early_cost: Floats
    """Shape (visits,): what its later jobs give up by coming early."""
    saved_cost: Floats
    """Shape (visits,): cost of the visits that are not needed, less the early cost; 0 for a single job."""


def bundle_visits(
    due_day: Floats,
    early_cost_per_day: Floats,
    offsets: Integers,
    visit_cost: Floats,
    most_early_days: Floats | None = None,
) -> VisitBundles:
    """Group each vehicle's jobs into the cheapest visits.

    Parameters
    ----------
    due_day : ndarray, shape (jobs,), float64
        Latest date of each job, ragged by vehicle, in any order within a vehicle. [d]
    early_cost_per_day : ndarray, shape (jobs,), float64
        Price of a day of remaining fluid life given up: cost of the job divided by its interval.
    offsets : ndarray, shape (vehicles + 1,), int64
        Where each vehicle's jobs begin.
    visit_cost : ndarray, shape (vehicles,), float64
        Cost of one visit whatever is done in it: setting up, down time, driving. Same unit of money.
    most_early_days : ndarray, shape (jobs,), float64, optional
        No job is done more than so many days before its date; without it any number. [d]

    Returns
    -------
    VisitBundles

    Raises
    ------
    InvalidInputError
        If arrays do not fit together, a date is not finite or a cost is negative.

    Notes
    -----
    A visit happens at the earliest latest date of its jobs, and a job joins the last visit not after its own
    date, so visits are stretches of the jobs sorted by date:
    f_i = min_{j >= i} K + sum_{l=i..j} w_l (d_l - d_i) + f_{j+1}, over the j whose jobs may all come as early
    as d_i. A limit on that changes nothing else: if any visit before its date is late enough for a job, the
    last one is. Of equal groupings the one with fewer visits wins. Optimal; O(C^2) for C jobs of a vehicle,
    all vehicles with C jobs at once.

    References
    ----------
    .. [1] Wagner & Whitin, "Dynamic version of the economic lot size model", Management Science 5, 1958
       (same recursion; derived).
    """
    most_early = np.full(due_day.size, np.inf) if most_early_days is None else most_early_days
    _check(due_day, early_cost_per_day, offsets, visit_cost, most_early)
    count = np.diff(offsets)
    n_jobs = due_day.size
    vehicle = np.repeat(np.arange(count.size), count)
    order = np.lexsort((early_cost_per_day, due_day, vehicle))
    starts = np.zeros(n_jobs, np.bool_)
    for size in np.unique(count[count > 0]).tolist():
        chosen = np.flatnonzero(count == size)
        place = offsets[chosen][:, None] + np.arange(size)
        jobs = order[place]
        starts[place] = _first_of_visit(
            due_day[jobs], early_cost_per_day[jobs], visit_cost[chosen], most_early[jobs]
        )
    visit = np.cumsum(starts) - 1
    visit_of_job = np.empty(n_jobs, np.int64)
    visit_of_job[order] = visit
    first = np.flatnonzero(starts)
    visit_day, visit_vehicle = due_day[order][first], vehicle[order][first]
    size_of_visit = np.bincount(visit, minlength=first.size)
    waste = early_cost_per_day[order] * (due_day[order] - visit_day[visit])
    early = np.bincount(visit, weights=waste, minlength=first.size).astype(np.float64)
    return VisitBundles(
        visit_of_job=visit_of_job,
        vehicle_index=visit_vehicle,
        due_day=visit_day,
        n_jobs=size_of_visit,
        early_cost=early,
        saved_cost=(size_of_visit - 1) * visit_cost[visit_vehicle] - early,
    )


def _first_of_visit(
    due_day: Floats,
    early_cost: Floats,
    visit_cost: Floats,
    most_early: Floats,
) -> Booleans:
    """Mark jobs that open a visit; rows are vehicles, columns jobs sorted by date."""
    n_vehicles, size = due_day.shape
    relative = due_day - due_day[:, :1]
    weight = np.concatenate([np.zeros((n_vehicles, 1)), np.cumsum(early_cost, axis=1)], axis=1)
    moment = np.concatenate([np.zeros((n_vehicles, 1)), np.cumsum(early_cost * relative, axis=1)], axis=1)
    ahead = np.zeros((n_vehicles, size + 1))
    last = np.zeros((n_vehicles, size), np.int64)
    earliest = relative - most_early
    for first in range(size - 1, -1, -1):
        best = np.full(n_vehicles, np.inf)
        # The first job comes on its own date; those after it must allow that date.
        limit = np.maximum.accumulate(earliest[:, first + 1 :], axis=1)
        for final in range(size - 1, first - 1, -1):
            given_up = moment[:, final + 1] - moment[:, first]
            given_up = given_up - relative[:, first] * (weight[:, final + 1] - weight[:, first])
            cost = visit_cost + given_up + ahead[:, final + 1]
            is_better = cost < best - 1e-9 * np.abs(cost)
            if final > first:
                is_better &= limit[:, final - first - 1] <= relative[:, first]
            best = np.where(is_better, cost, best)
            last[:, first] = np.where(is_better, final, last[:, first])
        ahead[:, first] = best
    opens = np.zeros((n_vehicles, size), np.bool_)
    position = np.zeros(n_vehicles, np.int64)
    for column in range(size):
        at_start = position == column
        opens[:, column] = at_start
        position = np.where(at_start, last[:, column] + 1, position)
    return opens


def _check(
    due_day: Floats,
    early_cost: Floats,
    offsets: Integers,
    visit_cost: Floats,
    most_early: Floats,
) -> None:
    """Refuse arrays that do not fit together or hold impossible numbers."""
    if offsets.size != visit_cost.size + 1 or offsets[-1] != due_day.size or np.any(np.diff(offsets) < 0):
        raise InvalidInputError.at(
            "/offsets", "offsets rise from 0 to the number of jobs, one per vehicle and one"
        )
    if due_day.shape != early_cost.shape:
        raise InvalidInputError.at("/early_cost_per_day", "one early cost per job")
    if not np.all(np.isfinite(due_day)):
        raise InvalidInputError.at("/due_day", "a job without a date cannot join a visit")
    if not (
        np.all(np.isfinite(early_cost) & (early_cost >= 0.0))
        and np.all(np.isfinite(visit_cost) & (visit_cost >= 0.0))
    ):
        raise InvalidInputError.at("/visit_cost", "costs are finite and at least 0")
    if most_early.shape != due_day.shape or not np.all(most_early >= 0.0):
        raise InvalidInputError.at("/most_early_days", "one number of days per job, at least 0")
