"""What is asked of the bays: visits with their dates and wishes, depots with their hours."""

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Final, TypeVar

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.errors import InvalidInputError
from service.units import DAYS_PER_WEEK

NO_DAY: Final = -1


class VisitOutcome(IntEnum):
    """What became of a visit, and why."""

    PLACED = 0
    PINNED = 1
    """On the day the user asked for, even where the bays are overbooked."""
    DUE_LATER = 2
    """It is cheapest after the weeks that are levelled."""
    BAYS_FULL = 3
    """It would have been wanted sooner, but the hours of the bays are used up."""
    VEHICLE_NEVER_THERE = 4
    """No day on which the depot is open and the vehicle may come."""
    DEPOT_CLOSED = 5
    """The depot has no bay hours at all in these weeks."""
    LONGER_THAN_ANY_DAY = 6
    """It needs more hours than any single day offers, overtime included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRequests:
    """n visits to be placed within whole weeks of days numbered from 0."""

    depot_index: Integers
    vehicle_index: Integers
    labour_hours: Floats
    """Shape (n,): bay hours, above 0. [h]"""
    due_probability: Floats
    """Shape (n, weeks): probability that the visit is due by the end of each week."""
    early_cost_per_week: Floats
    """Shape (n,): fluid life given up by coming a week too early."""
    overdue_cost_per_week: Floats
    """Shape (n,): what a week overdue is thought to cost."""
    is_available: Booleans
    """Shape (n, days): days on which the vehicle may come; a day ruled out by the user is False."""
    pinned_day: Integers
    """Shape (n,): day the user fixed, or `NO_DAY`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BayHours:
    """Hours of the bays of each depot; a closing day has none."""

    regular_hours: Floats
    """Shape (depots, days). [h]"""
    overtime_hours: Floats
    """Shape (depots, days): at most, on top. [h]"""
    overtime_cost_per_hour: Floats
    """Shape (depots,)."""


_Arrays = TypeVar("_Arrays", VisitRequests, BayHours)


def rows_of(table: _Arrays, rows: Integers) -> _Arrays:
    """Pick visits or depots, as a copy."""
    return type(table)(**{one.name: getattr(table, one.name)[rows] for one in fields(table)})


def check_requests(visits: VisitRequests, bays: BayHours) -> None:
    """Refuse visits and hours that do not fit together or cannot be.

    Raises
    ------
    InvalidInputError
        Naming the array.
    """
    n_visits, n_weeks = visits.due_probability.shape
    n_depots, n_days = bays.regular_hours.shape
    if n_days != n_weeks * DAYS_PER_WEEK or bays.overtime_hours.shape != (n_depots, n_days):
        raise InvalidInputError.at("/regular_hours", "seven days for every week of due probabilities")
    if bays.overtime_cost_per_hour.shape != (n_depots,):
        raise InvalidInputError.at("/overtime_cost_per_hour", "one price per depot")
    if visits.is_available.shape != (n_visits, n_days):
        raise InvalidInputError.at("/is_available", "one row per visit and one column per day")
    for name in ("depot_index", "vehicle_index", "labour_hours", "pinned_day"):
        if getattr(visits, name).shape != (n_visits,):
            raise InvalidInputError.at(f"/{name}", "one entry per visit")
    if n_visits and not (visits.depot_index.min() >= 0 and visits.depot_index.max() < n_depots):
        raise InvalidInputError.at("/depot_index", "a depot lies between 0 and the number of depots")
    if np.any(visits.pinned_day >= n_days) or np.any(visits.pinned_day < NO_DAY):
        raise InvalidInputError.at("/pinned_day", "a pinned day lies within the weeks that are levelled")
    _check_numbers(visits, bays)


def _check_numbers(visits: VisitRequests, bays: BayHours) -> None:
    """Refuse numbers out of range."""
    if not np.all(np.isfinite(visits.labour_hours) & (visits.labour_hours > 0.0)):
        raise InvalidInputError.at("/labour_hours", "a visit takes more than 0 hours")
    due = visits.due_probability
    if not (np.all(due >= 0.0) and np.all(due <= 1.0) and np.all(np.diff(due, axis=1) >= -1e-12)):
        raise InvalidInputError.at("/due_probability", "cumulative probabilities rise from 0 to 1")
    amounts = {
        "early_cost_per_week": visits.early_cost_per_week,
        "overdue_cost_per_week": visits.overdue_cost_per_week,
        "regular_hours": bays.regular_hours,
        "overtime_hours": bays.overtime_hours,
        "overtime_cost_per_hour": bays.overtime_cost_per_hour,
    }
    for name, values in amounts.items():
        if not np.all(np.isfinite(values) & (values >= 0.0)):
            raise InvalidInputError.at(f"/{name}", "finite and at least 0")
