"""What a slow mover may be asked for over several periods, as a distribution."""

from typing import Final

import numpy as np
from scipy.special import betaln, gammaln

from service.engine.arrays import Floats, Integers
from service.engine.demand.lattice import LatticeDistributions, pack_distributions
from service.errors import InvalidInputError

# Half a year of weeks; parts go out of use faster than long memories follow. Own choice, checked by backtest on
# 842 monthly series of car parts (Hyndman et al. 2008), where 6 months did better than 12, 26 and 52.
DEFAULT_HALF_LIFE_PERIODS: Final = 26.0
# Occurrences and periods of a common prior that a history is averaged with. Own choice, checked by backtest.
PRIOR_PERIODS: Final = 4.0


def forecast_intermittent(
    values: Floats,
    offsets: Integers,
    n_periods: int,
    *,
    step_quantity: float = 1.0,
    half_life_periods: float = DEFAULT_HALF_LIFE_PERIODS,
) -> LatticeDistributions:
    """Distribution of the demand over the coming periods, from past sizes and occurrences.

    Parameters
    ----------
    values : ndarray, shape (total,), float64
        Quantity taken in each period, oldest first, ragged by `offsets`; whole multiples of the step.
    offsets : ndarray, shape (n + 1,), int64
        Where each history begins.
    n_periods : int
        Periods to cover: lead time and review time, 1 to 104.
    step_quantity : float
        One piece, or the smallest measure of a fluid.
    half_life_periods : float
        Age at which a past period counts half.

    Returns
    -------
    LatticeDistributions
        n distributions. A history without any demand shares the sizes and the frequency of all histories.

    Raises
    ------
    InvalidInputError
        If a history is impossible or holds fractions of the step.

    Notes
    -----
    The number of periods with demand is beta-binomial: occurrences and empty periods are counted with
    weights that halve every `half_life_periods`, after a prior of `PRIOR_PERIODS` periods at the common
    frequency, so that few observations give a wide answer. Sizes are drawn from the weighted past sizes (one
    of the common sizes as prior). This is the exact distribution that resampling past periods would
    approach. Periods are taken as independent. O(n m log m) with m the support.

    References
    ----------
    .. [1] Willemain, Smart & Schwarz, "A new approach to forecasting intermittent demand for service parts
       inventories", International Journal of Forecasting 20, 2004.
    .. [2] Syntetos & Boylan, "On the stock control performance of intermittent demand estimators",
       International Journal of Production Economics 103, 2006.
    """
    _check_histories(values, offsets)
    steps = np.rint(values / step_quantity)
    if np.any(np.abs(values / step_quantity - steps) > 1e-6):
        raise InvalidInputError.at("/values", "quantities are whole multiples of the step")
    if not 1 <= n_periods <= 104:
        raise InvalidInputError.at("/n_periods", "between 1 and 104 periods")
    count = np.diff(offsets)
    n_series, row = count.size, np.repeat(np.arange(count.size), count)
    age = np.repeat(offsets[1:], count) - 1 - np.arange(values.size)
    weight = 0.5 ** (age / half_life_periods)
    occurs = steps > 0.0
    length = int(steps.max(initial=0.0)) + 2
    sizes = np.zeros((n_series, length))
    np.add.at(sizes, (row[occurs], steps[occurs].astype(np.int64)), weight[occurs])
    taken = sizes.sum(axis=1)
    periods = np.bincount(row, weights=weight, minlength=n_series)
    total = float(periods.sum())
    common_frequency = (float(taken.sum()) + 0.5) / (total + 1.0)
    common_size = sizes.sum(axis=0)
    common_size = common_size / common_size.sum() if common_size.any() else np.eye(length)[1]
    size_mass = (sizes + common_size) / (taken + 1.0)[:, None]
    alpha = taken + PRIOR_PERIODS * common_frequency
    beta = periods - taken + PRIOR_PERIODS * (1.0 - common_frequency)
    counts = _beta_binomial_mass(n_periods, alpha, beta)
    masses = _compound_mass(counts, size_mass)
    return pack_distributions(np.zeros(n_series), np.full(n_series, step_quantity), list(masses))


def _check_histories(values: Floats, offsets: Integers) -> None:
    """Refuse histories that no shelf can have."""
    if offsets.size == 0 or offsets[-1] != values.size or np.any(np.diff(offsets) < 0):
        raise InvalidInputError.at("/offsets", "offsets rise from 0 to the number of values")
    if not np.all(np.isfinite(values) & (values >= 0.0)):
        raise InvalidInputError.at("/values", "a quantity taken is finite and at least 0")


def _beta_binomial_mass(n_periods: int, alpha: Floats, beta: Floats) -> Floats:
    """P(N = k) for k = 0 ... n_periods, shape (n, n_periods + 1)."""
    k = np.arange(n_periods + 1.0)
    choose = gammaln(n_periods + 1.0) - gammaln(k + 1.0) - gammaln(n_periods - k + 1.0)
    ratio = betaln(k + alpha[:, None], n_periods - k + beta[:, None]) - betaln(alpha, beta)[:, None]
    mass: Floats = np.exp(choose + ratio)
    return mass


def _compound_mass(counts: Floats, size_mass: Floats) -> Floats:
    """Mass of a sum of N sizes, by Horner's rule on the transforms."""
    n_periods = counts.shape[1] - 1
    length = n_periods * (size_mass.shape[1] - 1) + 1
    spectrum = np.fft.rfft(size_mass, length, axis=1)
    total = np.zeros_like(spectrum) + counts[:, -1:]
    for k in range(n_periods - 1, -1, -1):
        total = total * spectrum + counts[:, k : k + 1]
    return np.clip(np.fft.irfft(total, length, axis=1), 0.0, None)
