"""Has the fluid used up its life? Ageing driven by distance, time and engine hours."""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.due import precision
from service.engine.due.limits import Condition
from service.engine.due.passage import SCORE_BOUND
from service.engine.due.precision import AnyFloats

_SMALLEST_GAIN: Final = 1e-12
_SMALLEST_VARIANCE: Final = 1e-24
_SMALLEST_SPREAD: Final = 1e-9
# Of a meter that has hardly moved; its square is still a number in single precision.
_LARGEST_SKEWNESS: Final = 1e15


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """How the fluids of some compartments age, made ready for many questions; every field has shape (n,).

    `life_left` is the limit less the life used at the last reading, and `age_days` the age of that reading.
    """

    life_left: AnyFloats
    life_used_sd: AnyFloats
    rate_cv: AnyFloats
    life_per_km: AnyFloats
    life_per_day: AnyFloats
    life_per_hour: AnyFloats
    age_days: AnyFloats

    @classmethod
    def of(cls, condition: Condition, rows: Integers, age_days: Floats) -> Self:
        """Gather the given rows, in the precision that the work is done with."""

        def work(values: Floats) -> AnyFloats:
            return values.astype(precision.WORK)

        return cls(
            life_left=work(condition.life_limit_fraction[rows] - condition.life_used_fraction[rows]),
            life_used_sd=work(condition.life_used_sd_fraction[rows]),
            rate_cv=work(condition.rate_cv_fraction[rows]),
            life_per_km=work(condition.life_per_km[rows]),
            life_per_day=work(condition.life_per_day[rows]),
            life_per_hour=work(condition.life_per_hour[rows]),
            age_days=work(age_days),
        )

    def take(self, columns: Integers | slice) -> "Ageing":
        """Pick columns; a slice stands for all of them."""
        if isinstance(columns, slice):
            return self
        return Ageing(**{name: getattr(self, name).take(columns) for name in self.__slots__})


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeGain:
    """Life used up since the last reading: mean, and the variance that the doubt about the meters causes."""

    mean_fraction: AnyFloats
    meter_variance: AnyFloats


def life_variance(life_used_sd: AnyFloats, rate_cv: AnyFloats, gain: LifeGain) -> AnyFloats:
    """Give the variance of the life used.

    Notes
    -----
    Doubt about the rate is fully correlated in time, so its standard deviation grows by cv * gain. The doubt of the
    meters comes in independently.
    """
    variance: AnyFloats = rate_cv * gain.mean_fraction
    variance += life_used_sd
    variance *= variance
    variance += gain.meter_variance * (1.0 + rate_cv * rate_cv)
    return variance


def condition_score(
    life_left: AnyFloats, life_used_sd: AnyFloats, rate_cv: AnyFloats, gain: LifeGain
) -> AnyFloats:
    """Give the normal score of the probability that the life left is used up.

    Parameters
    ----------
    life_left : ndarray, shape (n,)
        Limit less mean life used at the last reading; may be negative. [1]
    life_used_sd, rate_cv : ndarray, shape (n,)
        Doubt about the life used then, and coefficient of variation of the rates. [1]
    gain : LifeGain, shape (..., n)
        Life used up since.

    Returns
    -------
    ndarray, shape (..., n)
        z with P(used up) = Phi(z), within ±SCORE_BOUND.

    Notes
    -----
    Gain less life left is a shifted log-normal variable with matched mean, variance and third cumulant. Two closed
    forms are its ends: with the life used known it is the log-normal ratio of gain and threshold, with nothing
    gained it is the normal doubt about the life used. With own = cv * gain and q the coefficient of variation of
    the gain, the third cumulant is (3 q + q³) (sd of gain)³ + 3 sd_0 own cv (2 own + sd_0): the second part because
    one doubt drives both. A log-normal variable of coefficient of variation s has skewness s³ + 3 s, so
    s = 2 sinh(asinh(skewness / 2) / 3). Within .007 of that model by simulation, cv .2 to .4.
    """
    mean = gain.mean_fraction + _SMALLEST_GAIN
    with np.errstate(over="ignore"):  # a skewness beyond all bounds counts as the largest
        spread, scale = _law(mean, gain.meter_variance, life_used_sd, rate_cv)
    log_variance = spread * spread
    np.log1p(log_variance, out=log_variance)
    spread *= scale
    spread *= np.subtract(life_left, mean, out=mean)
    np.clip(spread, -1.0, np.inf, out=spread)
    with np.errstate(divide="ignore"):  # at the law's lowest value: reached for certain
        score: AnyFloats = np.log1p(spread, out=spread)
    score += np.multiply(log_variance, 0.5, out=mean)
    np.sqrt(log_variance, out=log_variance)
    score /= np.negative(log_variance, out=log_variance)
    np.clip(score, -SCORE_BOUND, SCORE_BOUND, out=score)
    return score


def _law(
    mean: AnyFloats, meter_variance: AnyFloats, life_used_sd: AnyFloats, rate_cv: AnyFloats
) -> tuple[AnyFloats, AnyFloats]:
    """Coefficient of variation of the log-normal law that has the skewness, and one by the standard deviation."""
    own = rate_cv * mean
    both = own + life_used_sd
    skewness = own + both
    skewness *= own
    skewness *= 3.0 * life_used_sd * rate_cv
    from_meters = meter_variance * (1.0 + rate_cv * rate_cv)
    gain_variance = own * own
    gain_variance += from_meters
    both *= both
    both += from_meters
    both += _SMALLEST_VARIANCE
    np.sqrt(both, out=both)
    scale = np.divide(1.0, both, out=both)
    per_gain = np.divide(gain_variance, mean, out=from_meters)
    gain_variance *= per_gain
    per_gain /= mean
    per_gain += 3.0
    skewness += np.multiply(per_gain, gain_variance, out=gain_variance)
    for _ in range(3):
        skewness *= scale
    np.clip(skewness, 0.0, _LARGEST_SKEWNESS, out=skewness)
    skewness *= 0.5
    # exp(asinh(x) / 3), whose difference from its inverse is 2 sinh(asinh(x) / 3).
    root = skewness * skewness
    root += 1.0
    np.sqrt(root, out=root)
    root += skewness
    np.cbrt(root, out=root)
    root -= np.divide(1.0, root, out=skewness)
    root += _SMALLEST_SPREAD
    return root, scale
