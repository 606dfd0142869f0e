"""The best explanation of a history: the chain of readings that belong together, found anew with every reading."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Codes, Floats, Integers
from service.engine.screening.outcomes import Verdict
from service.engine.screening.plausibility import (
    BELIEF_MARGIN,
    pace_km_per_day,
    step_log_odds,
    step_pace_km_per_day,
)
from service.units import KM_PER_MILE

# Common practice, no source; picked on simulated entries.
LOOK_BACK: Final = 8
"""Readings back to which a chain may reach, besides the best chain's end, however far back that is."""
REPLACEMENT_COST: Final = 13.0
"""Log odds against a new instrument: three readings that follow each other outweigh it."""
USED_INSTRUMENT_COST: Final = 19.0
"""The same where it begins with more than a new one shows, which is likelier another vehicle's number."""
NEW_INSTRUMENT_KM: Final = 5000.0
"""What a new one may have run before anybody reads it. Own choice, as the cost above; tried on invented fleets."""
UNIT_CHANGE_COST: Final = 14.0
ODD_START_COST: Final = 1.5
RELEASE_BONUS: Final = 1.0e3

# What people key in when they have no number at hand.
_ODD_NUMBERS: Final = np.unique(
    [float(digit * n) for digit in "123456789" for n in range(1, 8)]
    + [float("123456789"[:n]) for n in range(2, 8)]
    + [10.0**n for n in range(7)]
    + [0.0]
)


@dataclass(slots=True, kw_only=True)
class Nodes:
    """Best chain that ends at each reading, time-major: row k holds the k-th reading of every vehicle."""

    score: Floats
    time_days: Floats
    km: Floats  # on the scale of the vehicle's first instrument, in km
    first_time_days: Floats
    first_km: Floats
    latest_pace: Floats
    factor: Floats
    offset_km: Floats
    back: Integers
    renewed: Booleans
    unmoved: Booleans  # begun anew by inference, and has shown the same number ever since

    @classmethod
    def empty(cls, n_steps: int, n_vehicles: int) -> "Nodes":
        """Make room for every reading; nothing ends anywhere yet."""
        floats = {name: np.zeros((n_steps, n_vehicles)) for name in _FLOAT_FIELDS}
        floats["score"].fill(-np.inf)
        return cls(
            **floats,
            back=np.full((n_steps, n_vehicles), -1, dtype=np.int64),
            renewed=np.zeros((n_steps, n_vehicles), dtype=np.bool_),
            unmoved=np.zeros((n_steps, n_vehicles), dtype=np.bool_),
        )


_FLOAT_FIELDS: Final = (
    "score",
    "time_days",
    "km",
    "first_time_days",
    "first_km",
    "latest_pace",
    "factor",
    "offset_km",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chains:
    """Explanation of n vehicles' histories, time-major, shape (k, n)."""

    believed_on_arrival: Booleans
    believed: Booleans
    km: Floats
    factor: Floats
    offset_km: Floats
    renewed: Booleans


def explain(
    time_days: Floats, keyed_km: Floats, verdict: Codes, n_readings: Integers, prior_rate: Floats
) -> Chains:
    """Find, with every reading, the best chain so far.

    Parameters
    ----------
    time_days, keyed_km, verdict : ndarray, shape (k, n)
        Readings of n vehicles, time-major, in order of time; vehicles sorted by their number of readings,
        most first; entries beyond a vehicle's number are not looked at.
    n_readings : ndarray, shape (n,), int64
        Readings of each vehicle.
    prior_rate : ndarray, shape (n,), float64
        Rate that the vehicle's class suggests. [km/d]

    Returns
    -------
    Chains
        What was believed when each reading came, and what is believed after the last one.

    Notes
    -----
    A chain scores the log odds of its steps; a step may leave readings out, start a new instrument or a new
    unit at a cost, which the same number keyed again does not pay back. The best chain that ends at each reading
    follows from those before (Viterbi 1967); nothing later is looked at, so replaying a history gives what was said
    at the time. Of entries at one instant the likeliest is believed, whichever came first. O(k n).
    """
    n_steps, n = time_days.shape
    nodes = Nodes.empty(n_steps, n)
    best = np.full(n, -1, dtype=np.int64)
    best_score, best_time = np.full(n, -np.inf), np.full(n, -np.inf)
    on_arrival = np.zeros((n_steps, n), dtype=np.bool_)
    for k in range(n_steps):
        a = int(np.count_nonzero(n_readings > k))
        said = verdict[k, :a]
        _place(nodes, k, a, time_days[k, :a], keyed_km[k, :a], said, prior_rate[:a], best[:a])
        nodes.score[k, :a] += RELEASE_BONUS * ((said == Verdict.RELEASED) | (said == Verdict.RENEWED))
        rivals = (best_time[:a] == time_days[k, :a]) & (nodes.back[k, :a] != best[:a])
        better = nodes.score[k, :a] > best_score[:a] + np.where(rivals, 0.0, BELIEF_MARGIN)
        best[:a][better] = k
        best_score[:a][better] = nodes.score[k, :a][better]
        best_time[:a][better] = time_days[k, :a][better]
        on_arrival[k, :a] = better
    believed = _trace(nodes.back, best)
    return Chains(
        believed_on_arrival=on_arrival,
        believed=believed,
        km=nodes.km,
        factor=nodes.factor,
        offset_km=nodes.offset_km,
        renewed=nodes.renewed & believed,
    )


def _place(
    nodes: Nodes,
    k: int,
    a: int,
    time: Floats,
    keyed: Floats,
    verdict: Codes,
    prior_rate: Floats,
    best: Integers,
) -> None:
    """Extend the best chain to the k-th reading of the first `a` vehicles."""
    found = _Arrival.at_start(keyed)
    if k > 0:
        columns = np.arange(a)
        recent = np.arange(max(0, k - LOOK_BACK), k)[::-1, None] + np.zeros((1, a), dtype=np.int64)
        steps = _Steps(nodes, np.concatenate([recent, best[None, :]]), columns, prior_rate, time)
        last = steps.only_best()
        found.try_step(steps, keyed)
        found.try_step(last, keyed, KM_PER_MILE, UNIT_CHANGE_COST)
        found.try_step(last, keyed, 1.0 / KM_PER_MILE, UNIT_CHANGE_COST)
        found.try_renewal(last, keyed, verdict == Verdict.RENEWED)
    _note(nodes, k, time, keyed, found, verdict == Verdict.NONE)


@dataclass(slots=True, kw_only=True)
class _Arrival:
    """The best way to one reading of every vehicle that was found so far, each shape (a,)."""

    score: Floats
    back: Integers
    factor: Floats
    offset: Floats
    renewed: Booleans

    @classmethod
    def at_start(cls, keyed: Floats) -> "_Arrival":
        """Begin a chain here."""
        return cls(
            score=np.where(_is_odd(keyed), -ODD_START_COST, 0.0),
            back=np.full(keyed.size, -1, dtype=np.int64),
            factor=np.ones(keyed.size),
            offset=np.zeros(keyed.size),
            renewed=np.zeros(keyed.size, dtype=np.bool_),
        )

    def try_step(self, steps: "_Steps", keyed: Floats, unit_factor: float = 1.0, cost: float = 0.0) -> None:
        """Go on from the best of some readings, in its unit or in another one at a cost."""
        factor = steps.factor * unit_factor
        value = steps.score_of(keyed, factor) - cost
        at = np.argmax(value, axis=0), np.arange(keyed.size)
        better = value[at] > self.score
        self.score = np.where(better, value[at], self.score)
        self.back = np.where(better, steps.rows[at], self.back)
        self.factor = np.where(better, factor[at], self.factor)
        self.offset = np.where(better, steps.offset[at], self.offset)
        self.renewed = np.where(better, cost > 0.0, self.renewed)

    def try_renewal(self, last: "_Steps", keyed: Floats, told: Booleans) -> None:
        """Begin a new instrument after the best chain so far, where the usual pace led or where somebody said."""
        usual = last.pace[0] * last.days[0]
        is_new = keyed <= NEW_INSTRUMENT_KM + usual
        value = last.score[0] - np.where(is_new, REPLACEMENT_COST, USED_INSTRUMENT_COST)
        better = (value > self.score) | told
        expected = last.km[0] + np.where(told, 0.0, usual)
        scale = np.where(told, 1.0, last.factor[0])
        self.score = np.where(better, value, self.score)
        self.back = np.where(better, last.rows[0], self.back)
        self.factor = np.where(better, scale, self.factor)
        self.offset = np.where(better, expected - scale * keyed, self.offset)
        self.renewed = self.renewed | better


def _note(nodes: Nodes, k: int, time: Floats, keyed: Floats, found: _Arrival, unsaid: Booleans) -> None:
    """Write down the k-th readings, of which nobody may have said anything, with the chains that lead to them."""
    a, columns = keyed.size, np.arange(keyed.size)
    nodes.score[k, :a], nodes.back[k, :a] = found.score, found.back
    nodes.factor[k, :a], nodes.offset_km[k, :a] = found.factor, found.offset
    nodes.renewed[k, :a] = found.renewed
    nodes.time_days[k, :a] = time
    nodes.km[k, :a] = found.factor * keyed + found.offset
    started = found.back < 0
    source = np.maximum(found.back, 0)
    distance = nodes.km[k, :a] - nodes.km[source, columns]
    nodes.unmoved[k, :a] = found.renewed & unsaid
    nodes.unmoved[k, :a] |= nodes.unmoved[source, columns] & ~started & (distance == 0.0)
    pace = step_pace_km_per_day(distance, time - nodes.time_days[source, columns])
    nodes.latest_pace[k, :a] = np.where(started | found.renewed, 0.0, pace)
    nodes.first_time_days[k, :a] = np.where(started, time, nodes.first_time_days[source, columns])
    nodes.first_km[k, :a] = np.where(started, nodes.km[k, :a], nodes.first_km[source, columns])


def _is_odd(keyed: Floats) -> Booleans:
    nearest = np.searchsorted(_ODD_NUMBERS, keyed).clip(max=_ODD_NUMBERS.size - 1)
    return np.asarray(_ODD_NUMBERS[nearest] == keyed)


class _Steps:
    """Possible predecessors of one reading of every vehicle, shape (candidates, a)."""

    def __init__(
        self, nodes: Nodes, rows: Integers, columns: Integers, prior_rate: Floats, time: Floats
    ) -> None:
        self.rows = rows
        # Positions in the flattened table: several times faster than rows and columns.
        at = rows * nodes.score.shape[1] + columns
        self.score, self.km = nodes.score.take(at), nodes.km.take(at)
        self.factor, self.offset = nodes.factor.take(at), nodes.offset_km.take(at)
        then = nodes.time_days.take(at)
        self.unmoved = nodes.unmoved.take(at)
        self.days = time - then
        self.known_days = then - nodes.first_time_days.take(at)
        self.pace = pace_km_per_day(
            prior_rate,
            self.km - nodes.first_km.take(at),
            self.known_days,
            nodes.latest_pace.take(at),
        )

    def only_best(self) -> "_Steps":
        """Leave only the end of the best chain so far, which comes last."""
        chosen = object.__new__(_Steps)
        for name, value in vars(self).items():
            setattr(chosen, name, value[-1:])
        return chosen

    def score_of(self, keyed: Floats, factor: Floats) -> Floats:
        """Score of the chains that each predecessor would make with the reading."""
        distance = factor * keyed + self.offset - self.km
        odds = step_log_odds(distance, self.days, keyed, self.pace, self.known_days)
        if self.unmoved.any():
            odds[self.unmoved & (distance == 0.0)] = 0.0
        return np.asarray(self.score + odds)


def _trace(back: Integers, best: Integers) -> Booleans:
    """Walk the best chains back to their starts."""
    believed = np.zeros(back.shape, dtype=np.bool_)
    at = best.copy()
    columns = np.arange(best.size)
    for k in range(back.shape[0] - 1, -1, -1):
        on = at == k
        believed[k] = on
        at = np.where(on, back[k, columns], at)
    return believed
