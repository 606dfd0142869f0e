"""From the week of a visit to its day: what is open, and who goes where."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.engine.visits.day_placement import place_days, rank_within
from service.engine.visits.repair import DayPlan, repair_days
from service.engine.visits.requests import NO_DAY, BayHours, VisitRequests
from service.units import DAYS_PER_WEEK


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRoom:
    """Days that visits may use and the hours that pinned visits leave."""

    is_possible: Booleans
    """Shape (n, days)."""
    regular: Floats
    overtime: Floats
    """Shape (depots, days)."""


def day_room(visits: VisitRequests, bays: BayHours) -> DayRoom:
    """Take pinned visits out of the hours, and find the days that are open to the others.

    Parameters
    ----------
    visits, bays
        Checked input of the levelling.

    Returns
    -------
    DayRoom
    """
    booked = np.zeros_like(bays.regular_hours)
    pinned = visits.pinned_day > NO_DAY
    np.add.at(booked, (visits.depot_index[pinned], visits.pinned_day[pinned]), visits.labour_hours[pinned])
    regular = np.maximum(bays.regular_hours - booked, 0.0)
    beyond = np.maximum(booked - bays.regular_hours, 0.0)
    overtime = np.where(bays.regular_hours > 0.0, np.maximum(bays.overtime_hours - beyond, 0.0), 0.0)
    longest = (bays.regular_hours + bays.overtime_hours)[visits.depot_index]
    is_open = bays.regular_hours[visits.depot_index] > 0.0
    fits = visits.labour_hours[:, None] <= longest + 1e-9
    return DayRoom(is_possible=visits.is_available & is_open & fits, regular=regular, overtime=overtime)


def choose_days(
    visits: VisitRequests, bays: BayHours, room: DayRoom, cost: Floats, week: Integers
) -> Integers:
    """Give each visit a day: in its week without overtime, else wherever room is cheapest to make.

    Parameters
    ----------
    visits, bays
        Checked input of the levelling.
    room : DayRoom
        Days and hours open to visits that are not pinned.
    cost : ndarray, shape (n, weeks + 1), float64
        Cost of each week, infinite where not allowed; the last column is waiting until after them.
    week : ndarray, shape (n,), int64
        Week wanted; the number of weeks means after them.

    Returns
    -------
    ndarray, shape (n,), int64
        Day, or -1 where waiting is cheaper than any place that can be made.
    """
    n_weeks = cost.shape[1] - 1
    week_of_day = np.arange(room.regular.shape[1]) // DAYS_PER_WEEK
    in_week = room.is_possible & (week_of_day == week[:, None])
    # Long visits, and those with few days to choose from, are placed while there is room.
    order = np.lexsort((np.arange(week.size), in_week.sum(axis=1), -visits.labour_hours))
    todo = order[(visits.pinned_day[order] == NO_DAY) & (week[order] < n_weeks)]
    day = visits.pinned_day.copy()
    day[todo], left = place_days(
        visits.depot_index[todo],
        visits.labour_hours[todo],
        np.where(in_week[todo], 0.0, np.inf),
        room.regular,
        rank_within(visits.depot_index[todo] * n_weeks + week[todo]),
    )
    is_wanted = cost[:, :n_weeks].min(axis=1) < cost[:, n_weeks]
    todo = np.flatnonzero((day == NO_DAY) & is_wanted)
    turns = todo[np.argsort(-cost[todo, n_weeks], kind="stable")]
    return _make_room(visits, bays, room, cost, day, turns, left)


def _make_room(
    visits: VisitRequests,
    bays: BayHours,
    room: DayRoom,
    cost: Floats,
    day: Integers,
    turns: Integers,
    left_hours: Floats,
) -> Integers:
    """Repair each depot that has visits without a day; pinned visits stay where they are."""
    n_weeks = cost.shape[1] - 1
    result = day.copy()
    for depot in np.unique(visits.depot_index[turns]).tolist():
        own = np.flatnonzero((visits.depot_index == depot) & (visits.pinned_day == NO_DAY))
        price = np.repeat(cost[own, :n_weeks], DAYS_PER_WEEK, axis=1)
        plan = DayPlan(
            labour_hours=visits.labour_hours[own],
            day_cost=np.where(room.is_possible[own], price, np.inf),
            waiting_cost=cost[own, n_weeks],
            day=day[own],
            left_hours=left_hours[depot],
            overtime_hours=room.overtime[depot],
            overtime_cost_per_hour=float(bays.overtime_cost_per_hour[depot]),
        )
        result[own] = repair_days(plan, np.searchsorted(own, turns[visits.depot_index[turns] == depot]))
    return result
