"""What a partial exchange is worth: for the schedule, and when it is all that is ever done."""

import numpy as np

from service.engine.arrays import Floats, Integers, Numbers
from service.engine.exchange.checks import require_within


def schedule_credit(exchanged_share: Numbers, n_rounds: Numbers = 1.0) -> Floats:
    """How much of a full service a partial one counts as.

    Parameters
    ----------
    exchanged_share : float or ndarray
        φ, share of the charge that one round exchanges, 0 to 1. [-]
    n_rounds : float or ndarray
        Rounds, at least 0.

    Returns
    -------
    ndarray of float64
        1 − (1 − φ)^n, never 1 unless the whole charge went. [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    Distance, days and hours since the last full service shrink by this share, which makes them the mean
    age of the charge (derived).
    """
    share = require_within("exchanged_share", exchanged_share, 0.0, 1.0)
    return np.asarray(1.0 - np.power(1.0 - share, require_within("n_rounds", n_rounds, 0.0)))


def amount_since_full_service(amount_since: Numbers, credit: Numbers) -> Floats:
    """Kilometres, days or hours on the schedule's clock after a service with this credit.

    Parameters
    ----------
    amount_since : float or ndarray
        Since the last full-equivalent service, before this one, not negative.
    credit : float or ndarray
        See `schedule_credit`; 1 where the maker's service is a single drain-and-fill and it was done.

    Returns
    -------
    ndarray of float64
        In the unit that came in.

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    passed = require_within("amount_since", amount_since, 0.0)
    return np.asarray(passed * (1.0 - require_within("credit", credit, 0.0, 1.0)))


def rounds_needed(exchanged_share: Numbers, highest_retained_share: Numbers) -> Integers:
    """Fewest rounds that leave no more than a given share of old fluid.

    Parameters
    ----------
    exchanged_share : float or ndarray
        φ of one round, above 0, at most 1. [-]
    highest_retained_share : float or ndarray
        f*, above 0, at most 1. [-]

    Returns
    -------
    ndarray of int64

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    n = ⌈ln f* / ln(1 − φ)⌉; a share reached exactly needs no further round (tolerance 1e-9 rounds).
    """
    share = require_within("exchanged_share", exchanged_share, 1e-9, 1.0)
    target = require_within("highest_retained_share", highest_retained_share, 1e-9, 1.0)
    kept = np.maximum(1.0 - share, np.finfo(np.float64).tiny)
    return np.asarray(np.ceil(np.log(target) / np.log(kept) - 1e-9), dtype=np.int64).clip(min=0)


def steady_life_used(life_used_per_interval: Numbers, exchanged_share: Numbers) -> Floats:
    """Life used just before each service, once the same partial service has repeated often enough.

    Parameters
    ----------
    life_used_per_interval : float or ndarray
        ρ, what one interval uses, not negative. [-]
    exchanged_share : float or ndarray
        φ of one service (all its rounds), above 0, at most 1. [-]

    Returns
    -------
    ndarray of float64
        ρ/φ. [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    u ← (1 − φ) u + ρ has this fixed point (derived) and approaches it from below as ρ (1 − (1 − φ)^k)/φ.
    """
    used = require_within("life_used_per_interval", life_used_per_interval, 0.0)
    share = require_within("exchanged_share", exchanged_share, 1e-9, 1.0)
    return np.asarray(used / share)


def keepable_interval_share(exchanged_share: Numbers, highest_life_used: Numbers = 1.0) -> Floats:
    """Share of a full-change interval that repeated partial exchanges can keep.

    Parameters
    ----------
    exchanged_share : float or ndarray
        φ of one service (all its rounds), 0 to 1. [-]
    highest_life_used : float or ndarray
        Life used that must not be passed before a service, not negative. [-]

    Returns
    -------
    ndarray of float64
        φ times the limit: multiply the distance, time or hours of a whole life by it. [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    From ρ/φ ≤ limit (derived): a plan of partial exchanges cannot keep the interval of a full change.
    """
    share = require_within("exchanged_share", exchanged_share, 0.0, 1.0)
    return np.asarray(share * require_within("highest_life_used", highest_life_used, 0.0))
