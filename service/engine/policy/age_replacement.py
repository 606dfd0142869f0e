"""Renewal before failure at the interval with the lowest long-run cost, for Weibull lives."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gamma, gammainc

from service.engine.exchange.checks import BoolArray, FloatArray, Floats, require_within
from service.errors import InvalidInputError

N_BISECTIONS: Final = 100
N_GRID: Final = 121
N_GOLDEN: Final = 60
GOLDEN: Final = (5.0**0.5 - 1.0) / 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReplacementPolicy:
    """Best interval for n classes; arrays of shape (n,), in the unit of the life's scale.

    Parameters
    ----------
    interval : ndarray
        Infinite where waiting for the failure costs least.
    cost_rate : ndarray
        Long-run cost by unit of life at that interval.
    cost_rate_without : ndarray
        Cost by unit of life if nothing is ever done beforehand.
    is_worthwhile : ndarray of bool
    """

    interval: FloatArray
    cost_rate: FloatArray
    cost_rate_without: FloatArray
    is_worthwhile: BoolArray


def replace_by_age(
    scale: Floats, shape: Floats, *, planned_cost: Floats, failure_cost: Floats
) -> ReplacementPolicy:
    """Best age at which to renew, if failure renews as well.

    Parameters
    ----------
    scale, shape : float or ndarray, shape (n,)
        Weibull life: α in kilometres, days or hours, and β. Positive.
    planned_cost, failure_cost : float or ndarray, shape (n,)
        Positive.

    Returns
    -------
    ReplacementPolicy

    Raises
    ------
    InvalidInputError
        If a value is not positive or not finite.

    Notes
    -----
    C(t) = (c_p R(t) + c_f F(t)) / ∫₀ᵗ R; the optimum solves h(t) ∫R − F = c_p/(c_f − c_p), whose left side
    rises with t for β > 1, and C* = (c_f − c_p) h(t*). With β ≤ 1 or c_f ≤ c_p renewal ahead never pays.
    100 bisections of log t, O(n).

    References
    ----------
    .. [1] Barlow, Hunter, "Optimum preventive maintenance policies", Operations Research 8, 1960 (policy I).
    """
    scale, shape, planned, failure = _checked(scale, shape, planned_cost, failure_cost)
    without = failure / (scale * gamma(1.0 + 1.0 / shape))
    is_worthwhile = (shape > 1.0) & (failure > planned)
    beta = np.where(is_worthwhile, shape, 2.0)
    target = np.where(is_worthwhile, planned / np.where(is_worthwhile, failure - planned, 1.0), 1.0)
    low, high = np.full(scale.shape, -60.0), np.full(scale.shape, 60.0)
    for _ in range(N_BISECTIONS):
        middle = 0.5 * (low + high)
        age = np.exp(middle / beta)
        gain = beta * age ** (beta - 1.0) * _mean_age_reached(age, beta) + np.expm1(-(age**beta))
        low, high = np.where(gain < target, middle, low), np.where(gain < target, high, middle)
    age = np.exp(0.5 * (low + high) / beta)
    # beyond this the optimum is further out than practically every failure
    is_worthwhile &= low < 59.0
    rate = (failure - planned) * beta / scale * age ** (beta - 1.0)
    return ReplacementPolicy(
        interval=np.where(is_worthwhile, scale * age, np.inf),
        cost_rate=np.where(is_worthwhile, rate, without),
        cost_rate_without=without,
        is_worthwhile=is_worthwhile,
    )


def replace_with_minimal_repair(
    scale: Floats, shape: Floats, *, planned_cost: Floats, repair_cost: Floats
) -> ReplacementPolicy:
    """Best age at which to renew, if a repair only makes it run again, as old as it was.

    Parameters
    ----------
    scale, shape : float or ndarray, shape (n,)
        Weibull life of the first failure, positive.
    planned_cost, repair_cost : float or ndarray, shape (n,)
        Positive.

    Returns
    -------
    ReplacementPolicy
        Without renewal the cost rate has no limit for β > 1; it is given as infinite there.

    Raises
    ------
    InvalidInputError
        If a value is not positive or not finite.

    Notes
    -----
    t* = α (c_p / (c_m (β − 1)))^{1/β}, C* = c_m β t*^{β−1} / α^β. With β ≤ 1 renewal never pays.

    References
    ----------
    .. [1] Barlow, Hunter, "Optimum preventive maintenance policies", Operations Research 8, 1960 (policy II).
    """
    scale, shape, planned, repair = _checked(scale, shape, planned_cost, repair_cost)
    is_worthwhile = shape > 1.0
    beta = np.where(is_worthwhile, shape, 2.0)
    age = (planned / (repair * (beta - 1.0))) ** (1.0 / beta)
    without = np.select([shape > 1.0, shape == 1.0], [np.inf, repair / scale], 0.0)
    return ReplacementPolicy(
        interval=np.where(is_worthwhile, scale * age, np.inf),
        cost_rate=np.where(is_worthwhile, repair * beta / scale * age ** (beta - 1.0), without),
        cost_rate_without=without,
        is_worthwhile=is_worthwhile,
    )


def replacement_cost_rate(
    interval: FloatArray, scale: Floats, shape: Floats, *, planned_cost: Floats, failure_cost: Floats
) -> FloatArray:
    """Long-run cost of renewing at an age or at failure, whichever comes first.

    Parameters
    ----------
    interval : ndarray, shape (n,), float64
        Positive.
    scale, shape, planned_cost, failure_cost : float or ndarray
        As in `replace_by_age`, or with draws of the life on a leading axis, shape (n_draws, n).

    Returns
    -------
    ndarray, broadcast shape
        Cost by unit of life.

    Raises
    ------
    InvalidInputError
        If a value is not positive or not finite.
    """
    scale, shape, planned, failure = _checked(scale, shape, planned_cost, failure_cost)
    age = require_within("interval", interval, 1e-300) / scale
    failed = -np.expm1(-(age**shape))
    rate: FloatArray = (planned * (1.0 - failed) + failure * failed) / (scale * _mean_age_reached(age, shape))
    return rate


def replace_by_age_from_draws(
    scale_draws: FloatArray, shape_draws: FloatArray, *, planned_cost: Floats, failure_cost: Floats
) -> ReplacementPolicy:
    """Best age if the life is only known as draws: the mean cost is minimised, not the cost at the mean.

    Parameters
    ----------
    scale_draws, shape_draws : ndarray, shape (n_draws, n), float64
        Draws of Weibull parameters, positive. Not modified.
    planned_cost, failure_cost : float or ndarray, shape (n,)
        Positive.

    Returns
    -------
    ReplacementPolicy

    Raises
    ------
    InvalidInputError
        If a value is not positive or not finite, or there are no draws.

    Notes
    -----
    A grid of 121 ages around the median scale (1/1000 to 10 times), then 60 golden-section steps in
    log t. An optimum at the far end of the grid counts as not worthwhile. O(n_draws n).
    """
    if scale_draws.ndim != 2 or scale_draws.shape[0] == 0:
        raise InvalidInputError.at("/scale_draws", "draws need one row each, and at least one")

    def mean_rate(log_interval: FloatArray) -> FloatArray:
        rates = replacement_cost_rate(
            np.exp(log_interval),
            scale_draws,
            shape_draws,
            planned_cost=planned_cost,
            failure_cost=failure_cost,
        )
        return np.asarray(rates.mean(axis=0))

    centre = np.log(np.median(scale_draws, axis=0))
    grid = centre + np.linspace(np.log(1e-3), np.log(10.0), N_GRID)[:, np.newaxis]
    rates = np.stack([mean_rate(row) for row in grid])
    best = rates.argmin(axis=0)
    columns = np.arange(grid.shape[1])
    low, high = grid[np.maximum(best - 1, 0), columns], grid[np.minimum(best + 1, N_GRID - 1), columns]
    for _ in range(N_GOLDEN):
        left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
        is_left = mean_rate(left) <= mean_rate(right)
        low, high = np.where(is_left, low, left), np.where(is_left, right, high)
    interval = 0.5 * (low + high)
    without = np.asarray((failure_cost / (scale_draws * gamma(1.0 + 1.0 / shape_draws))).mean(axis=0))
    is_worthwhile = best < N_GRID - 1
    return ReplacementPolicy(
        interval=np.where(is_worthwhile, np.exp(interval), np.inf),
        cost_rate=np.where(is_worthwhile, mean_rate(interval), without),
        cost_rate_without=without,
        is_worthwhile=is_worthwhile,
    )


def _mean_age_reached(age: FloatArray, shape: FloatArray) -> FloatArray:
    """∫₀ˣ R of a Weibull life with scale 1: (1/β) Γ(1/β) P(1/β, x^β)."""
    reached: FloatArray = gamma(1.0 + 1.0 / shape) * gammainc(1.0 / shape, age**shape)
    return reached


def _checked(
    scale: Floats, shape: Floats, planned: Floats, unplanned: Floats
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    smallest = 1e-12
    columns = np.broadcast_arrays(
        np.atleast_1d(require_within("scale", scale, smallest)),
        require_within("shape", shape, 0.05, 100.0),
        require_within("planned_cost", planned, smallest),
        require_within("unplanned_cost", unplanned, smallest),
    )
    return columns[0], columns[1], columns[2], columns[3]
