"""What a policy would cost over the coming months, vehicle by vehicle."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.state import spread
from service.errors import InvalidInputError

MONTHS_24_DAYS: Final = 730.5
MOST_VISITS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialPolicy:
    """An interval and what a visit does; numbers or arrays of shape (n,).

    Parameters
    ----------
    interval_days : float or ndarray
        Distance between visits in time: the distance interval by the pace, or the calendar if shorter.
        Infinite for never. [d]
    first_visit_days : float or ndarray
        From now on, not negative. [d]
    exchanged_share : float or ndarray
        Of a visit, all its rounds. [-]
    visit_litres, visit_minor : float or ndarray
        New fluid and the whole cost of a visit.
    """

    interval_days: Numbers
    first_visit_days: Numbers
    exchanged_share: Numbers
    visit_litres: Numbers
    visit_minor: Numbers


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolicyTrial:
    """What comes of it within the horizon; arrays of shape (n,).

    Parameters
    ----------
    n_visits : ndarray of int64
    litres, cost_minor : ndarray
        Sums over the horizon.
    share_of_time_above_limit : ndarray
        [-]
    mean_life_used, highest_life_used : ndarray
        Over time, and at its worst. [-]
    """

    n_visits: Integers
    litres: Floats
    cost_minor: Floats
    share_of_time_above_limit: Floats
    mean_life_used: Floats
    highest_life_used: Floats


def try_policy(
    life_used: Numbers,
    life_used_per_day: Numbers,
    policy: TrialPolicy,
    *,
    life_used_limit: Numbers,
    horizon_days: float = MONTHS_24_DAYS,
) -> PolicyTrial:
    """Let a policy run over a horizon at constant rates.

    Parameters
    ----------
    life_used : float or ndarray, shape (n,)
        Now. [-]
    life_used_per_day : float or ndarray, shape (n,)
        By distance, time and hours; give a vehicle several columns with draws of it for uncertainty. [1/d]
    policy : TrialPolicy
    life_used_limit : float or ndarray, shape (n,)
        [-]
    horizon_days : float
        [d]

    Returns
    -------
    PolicyTrial

    Raises
    ------
    InvalidInputError
        If a value is out of range, or an interval is so short that a vehicle would come more than 500
        times.

    Notes
    -----
    A sawtooth with exact integrals; a visit on the last day counts. One pass for each visit of the
    busiest vehicle, O(n_visits n).
    """
    columns = spread(
        *(
            np.atleast_1d(column)
            for column in (
                require_within("life_used", life_used, 0.0),
                require_within("life_used_per_day", life_used_per_day, 0.0),
                require_within("life_used_limit", life_used_limit, 0.0),
                require_within("interval_days", policy.interval_days, 1e-3, np.inf),
                require_within("first_visit_days", policy.first_visit_days, 0.0, np.inf),
                require_within("exchanged_share", policy.exchanged_share, 0.0, 1.0),
            )
        )
    )
    used, speed, limit, interval, due, share = columns
    horizon = float(require_within("horizon_days", horizon_days, 1e-3))
    if np.any(horizon - due >= MOST_VISITS * interval):
        raise InvalidInputError.at("/interval_days", f"more than {MOST_VISITS} visits within the horizon")
    now, above, area = np.zeros(used.shape), np.zeros(used.shape), np.zeros(used.shape)
    n_visits, highest = np.zeros(used.shape, dtype=np.int64), np.array(used)
    while True:
        until = np.minimum(due, horizon)
        passed = np.maximum(until - now, 0.0)
        reached = used + speed * passed
        area = area + 0.5 * (used + reached) * passed
        above = above + _time_above(used, reached, limit, passed)
        highest = np.maximum(highest, reached)
        is_visit = due <= horizon
        if not np.any(is_visit):
            break
        used = np.where(is_visit, reached * (1.0 - share), reached)
        n_visits = n_visits + is_visit
        now, due = until, np.where(is_visit, due + interval, due)
    return PolicyTrial(
        n_visits=n_visits,
        litres=n_visits * require_within("visit_litres", policy.visit_litres, 0.0),
        cost_minor=n_visits * require_within("visit_minor", policy.visit_minor, 0.0),
        share_of_time_above_limit=above / horizon,
        mean_life_used=area / horizon,
        highest_life_used=highest,
    )


def _time_above(before: Floats, after: Floats, limit: Floats, passed: Floats) -> Floats:
    """Time of a straight rise during which it is above the limit."""
    rise = after - before
    share = np.where(before > limit, 1.0, 0.0)
    np.divide(after - limit, rise, out=share, where=rise > 0.0)
    return np.clip(share, 0.0, 1.0) * passed
