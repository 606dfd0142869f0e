"""What is asked of the levelling: the days on which a visit can be, or the one on which it has to be."""

from collections.abc import Sequence

import numpy as np

from service.domain.weeks import IsoWeek
from service.engine.arrays import Booleans, Integers
from service.engine.visits.requests import NO_DAY, VisitRequests
from service.units import DAYS_PER_WEEK, MINUTES_PER_HOUR
from service.usecases.visits.fixed_days import Fixed
from service.usecases.visits.fleet_names import FleetNames
from service.usecases.visits.visit_plan import PlannedVisits


def ask_for_days(
    visits: PlannedVisits, rows: Integers, names: FleetNames, fixed: Fixed, weeks: Sequence[IsoWeek]
) -> VisitRequests:
    """Ask for days: those on which the vehicle can come and nothing else was promised, or the one that is fixed."""
    vehicle_ids = visits.vehicle_id[rows]
    is_available = np.tile(days_there(names, vehicle_ids), (1, len(weeks)))
    _close_published(is_available, visits.due_week[rows], fixed, weeks)
    pinned_day = _fix_days(is_available, vehicle_ids, visits.is_first[rows], fixed, weeks[0])
    return VisitRequests(
        depot_index=visits.depot_row[rows],
        vehicle_index=vehicle_ids,
        labour_hours=visits.labour_minutes[rows] / MINUTES_PER_HOUR,
        due_probability=visits.overdue_probability[rows],
        early_cost_per_week=visits.early_minor_a_week[rows],
        overdue_cost_per_week=visits.overdue_minor_a_week[rows],
        is_available=is_available,
        pinned_day=pinned_day,
    )


def days_there(names: FleetNames, vehicle_ids: Integers) -> Booleans:
    """Shape (n, 7): on which days of a week each vehicle may come, Monday first."""
    mask = np.array([names.vehicles[key].available_weekdays for key in vehicle_ids.tolist()], np.int64)
    is_there: Booleans = (mask[:, None] >> np.arange(DAYS_PER_WEEK)) & 1 > 0
    return is_there


def _close_published(
    is_available: Booleans, due_week: Integers, fixed: Fixed, weeks: Sequence[IsoWeek]
) -> None:
    """Let a published week take only what is on its list, and what has fallen due since."""
    for place, week in enumerate(weeks):
        if str(week) in fixed.published:
            own = slice(place * DAYS_PER_WEEK, (place + 1) * DAYS_PER_WEEK)
            is_available[due_week > place, own] = False


def _fix_days(
    is_available: Booleans,
    vehicle_ids: Integers,
    is_first: Booleans,
    fixed: Fixed,
    first_week: IsoWeek,
) -> Integers:
    """Give the day of each vehicle's next visit that is fixed; of one not before a day, close the days until then."""
    n_days = is_available.shape[1]
    pinned_day = np.full(vehicle_ids.size, NO_DAY, np.int64)
    for place in np.flatnonzero(is_first).tolist():
        wish = fixed.days.get(int(vehicle_ids[place]))
        if wish is None:
            continue
        index = (wish.day - first_week.first_day).days
        if wish.not_before or index >= n_days:
            is_available[place, : max(index, 0)] = False
        elif index >= 0:
            pinned_day[place] = index
    return pinned_day
