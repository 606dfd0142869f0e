"""Vehicles whose history raises no question: every reading follows the one before at an ordinary pace."""

from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.engine.parts import vehicle_blocks
from service.engine.screening.plausibility import (
    BELIEF_MARGIN,
    is_plainly_clean,
    pace_km_per_day,
    step_log_odds,
    step_pace_km_per_day,
    step_penalty,
)

BLOCK_READINGS: Final = 80_000
"""Readings worked on at once: few enough for the processor's cache, enough to outweigh the calls. Measured."""
MARGIN: Final = 0.5
"""The pace of a chain that leaves readings out differs a little; this much log odds covers it."""


def find_clean_vehicles(
    time_days: Floats,
    keyed_km: Floats,
    offsets: Integers,
    prior_rate: Floats,
    believed: Booleans | None = None,
) -> Booleans:
    """Mark the vehicles all of whose readings any explanation would believe.

    Parameters
    ----------
    time_days, keyed_km, offsets
        Finite readings in order of time within each vehicle.
    prior_rate : ndarray, shape (n,), float64
        Rate that the vehicle's class suggests. [km/d]
    believed : ndarray, shape (r,), bool, optional
        Readings that are not asked about, because the step to them was clean already.

    Returns
    -------
    ndarray, shape (n,), bool
        True also for vehicles with one reading or none.

    Notes
    -----
    Leaving readings out of a chain loses their gains, and the step that spans the gap gains at most the penalty
    of the step it replaces. So where every step gains something, and more than the next one's penalty, no chain
    beats the whole history. About 20 ns a reading.
    """
    clean = np.ones(offsets.size - 1, dtype=np.bool_)
    for begin, end in vehicle_blocks(offsets, BLOCK_READINGS):
        clean[begin:end] = _block(
            time_days, keyed_km, offsets[begin : end + 1], prior_rate[begin:end], believed
        )
    return clean


def _block(
    time_days: Floats, keyed_km: Floats, offsets: Integers, prior_rate: Floats, believed: Booleans | None
) -> Booleans:
    first, last = int(offsets[0]), int(offsets[-1])
    counts = np.diff(offsets)
    clean = np.ones(counts.size, dtype=np.bool_)
    if last - first < 2:
        return clean
    time, keyed = time_days[first:last], keyed_km[first:last]
    vehicle = np.repeat(np.arange(counts.size), counts)
    inside = vehicle[1:] == vehicle[:-1]
    start = np.minimum(offsets[:-1] - first, time.size - 1)
    owner = vehicle[:-1]
    known_days = time[:-1] - time[start][owner]
    days, distance = time[1:] - time[:-1], keyed[1:] - keyed[:-1]
    latest = np.zeros(days.size)
    latest[1:] = np.where(inside[:-1], step_pace_km_per_day(distance[:-1], days[:-1]), 0.0)
    pace = pace_km_per_day(prior_rate[owner], keyed[:-1] - keyed[start][owner], known_days, latest)
    steps = Steps(distance, days, keyed[1:], pace, known_days)
    fits = is_plainly_clean(distance, days, keyed[1:], pace) | ~inside
    if believed is not None:
        fits |= believed[first + 1 : last]
    doubtful = np.flatnonzero(~fits)
    if doubtful.size:
        clean[owner[doubtful[~_holds(steps, doubtful, inside)]]] = False
    return clean


def _holds(steps: "Steps", doubtful: Integers, inside: Booleans) -> Booleans:
    """Tell which doubtful steps are sure to be believed all the same."""
    last = inside.size - 1
    before, after = np.maximum(doubtful - 1, 0), np.minimum(doubtful + 1, last)
    has_before = (doubtful > 0) & inside[before]
    has_after = (doubtful < last) & inside[after]
    gain, penalty = steps.gain(doubtful), steps.penalty(doubtful)
    forgone = np.where(has_before, steps.gain(before), np.inf)
    regained = np.where(has_after, steps.penalty(after), 0.0)
    return np.asarray((gain > np.maximum(regained, BELIEF_MARGIN) + MARGIN) & (forgone > penalty + MARGIN))


class Steps:
    """Steps between readings that follow each other."""

    def __init__(
        self, distance_km: Floats, days: Floats, keyed_km: Floats, pace: Floats, known_days: Floats
    ) -> None:
        self._distance_km, self._days, self._keyed_km = distance_km, days, keyed_km
        self._pace, self._known_days = pace, known_days

    def gain(self, at: Integers) -> Floats:
        """Log odds of some steps; minus infinity where the odometer falls, be it by rounding."""
        distance, days, pace, known_days = self._of(at)
        odds = step_log_odds(distance, days, self._keyed_km[at], pace, known_days)
        return np.where(distance >= 0.0, odds, -np.inf)

    def penalty(self, at: Integers) -> Floats:
        """Log odds that some steps lose by an unexpected distance."""
        return step_penalty(*self._of(at))

    def _of(self, at: Integers) -> tuple[Floats, Floats, Floats, Floats]:
        """Distance, days, pace and known days of some steps; those from one vehicle to the next made harmless."""
        days, pace = np.maximum(self._days[at], 0.0), np.maximum(self._pace[at], 0.0)
        return self._distance_km[at], days, pace, self._known_days[at]
