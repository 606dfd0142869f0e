"""Demand rate of slow movers: seals, washers and rare fluids that are taken now and then."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.errors import InvalidInputError

# Smoothing constant; 0.05 to 0.2 is the range recommended by Syntetos & Boylan 2005.
DEFAULT_SMOOTHING: Final = 0.1


class IntermittentMethod(StrEnum):
    """How size and frequency of demand are smoothed."""

    CROSTON = "croston"
    """Size and interval smoothed when demand occurs; rate biased upwards."""
    SBA = "sba"
    """Croston with the correction of Syntetos and Boylan."""
    TSB = "tsb"
    """Probability smoothed every period, so a part nobody uses any more fades out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntermittentRates:
    """Estimates after the last period of each of n histories; all zero where nothing was ever taken."""

    size: NDArray[np.float64]
    """Shape (n,): expected quantity when something is taken. [L or pieces]"""
    probability: NDArray[np.float64]
    """Shape (n,): probability that something is taken in a period."""
    rate: NDArray[np.float64]
    """Shape (n,): expected quantity a period. [L or pieces per period]"""


def _step_croston(
    demand: NDArray[np.float64], state: tuple[NDArray[np.float64], ...], smoothing: float
) -> tuple[NDArray[np.float64], ...]:
    """One period: size, interval and periods since the last demand."""
    size, interval, elapsed = state
    elapsed = elapsed + 1.0
    occurs = demand > 0.0
    is_first = occurs & (size == 0.0)
    new_size = np.where(is_first, demand, size + smoothing * (demand - size))
    new_interval = np.where(is_first, elapsed, interval + smoothing * (elapsed - interval))
    return (
        np.where(occurs, new_size, size),
        np.where(occurs, new_interval, interval),
        np.where(occurs, 0.0, elapsed),
    )


def _step_tsb(
    demand: NDArray[np.float64], state: tuple[NDArray[np.float64], ...], smoothing: float
) -> tuple[NDArray[np.float64], ...]:
    """One period: size, probability and periods seen."""
    size, probability, seen = state
    occurs = demand > 0.0
    new_size = np.where(size == 0.0, demand, size + smoothing * (demand - size))
    new_probability = np.where(seen == 0.0, occurs, probability + smoothing * (occurs - probability))
    return np.where(occurs, new_size, size), new_probability, seen + 1.0


def estimate_intermittent(
    values: NDArray[np.float64],
    offsets: NDArray[np.int64],
    method: IntermittentMethod = IntermittentMethod.TSB,
    smoothing: float = DEFAULT_SMOOTHING,
) -> IntermittentRates:
    """Smooth n demand histories period by period.

    Parameters
    ----------
    values : ndarray, shape (total,), float64
        Quantity taken in each period, oldest first, ragged by `offsets`. [L or pieces]
    offsets : ndarray, shape (n + 1,), int64
        Where each history begins.
    method : IntermittentMethod
        Croston, SBA or TSB.
    smoothing : float
        Smoothing constant in (0, 1), the same for size and frequency.

    Returns
    -------
    IntermittentRates

    Raises
    ------
    InvalidInputError
        If a quantity is negative or not finite, or the smoothing constant is out of range.

    Notes
    -----
    Croston: rate = size / interval. SBA: (1 - smoothing / 2) size / interval. TSB: probability * size. Sizes
    start at the first demand, intervals at the periods up to it, the probability of TSB at whether the first
    period had demand. The loop is over periods, all histories at once. O(total).

    References
    ----------
    .. [1] Croston, "Forecasting and stock control for intermittent demands", Operational Research
       Quarterly 23, 1972.
    .. [2] Syntetos & Boylan, "The accuracy of intermittent demand estimates", International Journal of
       Forecasting 21, 2005.
    .. [3] Teunter, Syntetos & Babai, "Intermittent demand: linking forecasting to inventory obsolescence",
       European Journal of Operational Research 214, 2011.
    """
    check_histories(values, offsets)
    if not 0.0 < smoothing < 1.0:
        raise InvalidInputError.at("/smoothing", "a smoothing constant lies between 0 and 1")
    count = np.diff(offsets)
    step = _step_tsb if method is IntermittentMethod.TSB else _step_croston
    state: tuple[NDArray[np.float64], ...] = (
        np.zeros(count.size),
        np.zeros(count.size),
        np.zeros(count.size),
    )
    for period in range(int(count.max(initial=0))):
        running = np.flatnonzero(count > period)
        demand = values[offsets[running] + period]
        updated = step(demand, tuple(part[running] for part in state), smoothing)
        for part, new in zip(state, updated, strict=True):
            part[running] = new
    size, frequency, _ = state
    if method is IntermittentMethod.TSB:
        probability = frequency
    else:
        probability = np.divide(1.0, frequency, out=np.zeros_like(size), where=frequency > 0.0)
    correction = 1.0 - smoothing / 2.0 if method is IntermittentMethod.SBA else 1.0
    return IntermittentRates(size=size, probability=probability, rate=correction * probability * size)


def check_histories(values: NDArray[np.float64], offsets: NDArray[np.int64]) -> None:
    """Refuse histories that no shelf can have."""
    if offsets.size == 0 or offsets[-1] != values.size or np.any(np.diff(offsets) < 0):
        raise InvalidInputError.at("/offsets", "offsets rise from 0 to the number of values")
    if not np.all(np.isfinite(values) & (values >= 0.0)):
        raise InvalidInputError.at("/values", "a quantity taken is finite and at least 0")
