"""From a state to the future: how far a vehicle will have gone, and how fast it goes."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from service.engine.arrays import Floats, Integers
from service.engine.usage.filter import dynamics_of, memory_of
from service.engine.usage.kernel import Dynamics, Memory, assimilate, propagate
from service.engine.usage.scale import dispersion, scale_km_per_day, scale_log_sd
from service.engine.usage.state import UsageState
from service.errors import InvalidInputError

# Derived: where the mean falls below one standard deviation the increment is bent upwards, to stay positive.
LEAST_MEAN_IN_SDS: Final = 0.02
LEAST_VARIANCE_KM2: Final = 1e-12
FAR_DAYS: Final = 365.0
# Common practice, no source: how far above or below its average a vehicle's present level counts.
MOST_LEVEL: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """All that the future distance of n vehicles depends on, each shape (n,): a state made ready for many questions.

    With t days after the last reading, phi = exp(-theta t) and psi = (1 - phi) / theta, the mean is
    ``x + psi u + t m`` and the variance
    ``v0 + t (v1 + t (v2 + t v3)) + psi (w0 + t w1 + psi w2)``, all in km and days, times
    ``near_variance_factor + slope min(t, a year)``, where both hold the vehicle's present level. That of the rate,
    before this factor, is ``rate_variance + 3 t v3 + phi (w1 + phi w2)``.
    """

    theta: Floats
    inverse_theta: Floats
    x: Floats
    u: Floats
    m: Floats
    v0: Floats
    v1: Floats
    v2: Floats
    v3: Floats
    w0: Floats
    w1: Floats
    w2: Floats
    rate_variance: Floats
    near_variance_factor: Floats
    slope: Floats

    def take(self, rows: Integers | tuple[slice | None, ...]) -> "Outlook":
        """Pick some vehicles, or add axes."""
        return Outlook(**{name: getattr(self, name)[rows] for name in self.__slots__})


def outlook_of(state: UsageState) -> Outlook:
    """Prepare the states of n vehicles for asking about their future.

    Notes
    -----
    The variance of u counts as its excess over s_u^2, as in `propagate`, so that the rest of what the temporary
    deviation adds is ``2 s_u^2 / theta (t - psi)``. What the long-run rate will yet drift is the fleet's to say: a
    calm vehicle changes its work no less than a restless one, so its own dispersion does not scale this part. The
    means respond to the scale by `prior_*`; what is only guessed of it adds the square of that.

    The filter's variances are those of a vehicle at its average pace. One that now drives less than it used to also
    varies less: the whole variance is in proportion to its level, the long-run rate by the scale, as that of a
    number of trips is to their mean.
    """
    scale = scale_km_per_day(state)
    factor = dispersion(state) * scale * scale
    guessed = (scale * scale_log_sd(state)) ** 2
    memory, dynamics = at_last_reading(state)
    x, u, m = memory.prior_x, memory.prior_u, memory.prior_m
    long_run = memory.data_m + scale * m
    level = np.clip(long_run / scale, 1.0 / MOST_LEVEL, MOST_LEVEL)
    return Outlook(
        theta=state.reversion_per_day,
        inverse_theta=dynamics.inverse_theta,
        x=np.maximum(memory.data_x + scale * x, 0.0),
        u=memory.data_u + scale * u,
        m=long_run,
        v0=memory.Pxx * factor + guessed * x * x,
        v1=(2.0 * memory.Pxm + dynamics.diffusion) * factor + 2.0 * guessed * x * m,
        v2=memory.Pmm * factor + guessed * m * m,
        v3=dynamics.drift * scale * scale / 3.0,
        w0=(2.0 * memory.Pxu - dynamics.settling) * factor + 2.0 * guessed * x * u,
        w1=2.0 * (memory.Pum * factor + guessed * u * m),
        w2=memory.excess * factor + guessed * u * u,
        rate_variance=(memory.Pmm + dynamics.temporary_variance) * factor + guessed * m * m,
        near_variance_factor=level * state.near_variance_factor,
        slope=level * (state.far_variance_factor - state.near_variance_factor) / FAR_DAYS,
    )


def at_last_reading(state: UsageState) -> tuple[Memory, Dynamics]:
    """Take the last reading of every vehicle into its moments, where the filter has not done so for good."""
    every = np.arange(len(state))
    memory, dynamics = memory_of(state, every), dynamics_of(state, every)
    later = np.flatnonzero(state.last_time_days > state.used_time_days)
    if later.size:
        moved, own = memory_of(state, later), dynamics_of(state, later)
        propagate(moved, own, (state.last_time_days - state.used_time_days)[later])
        assimilate(moved, own, (state.last_odometer_km - state.used_odometer_km)[later])
        memory.matrix[:, later] = moved.matrix
    return memory, dynamics


def outlook_moments(outlook: Outlook, days_after_last: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the filter's normal law for the distance after the last reading.

    Parameters
    ----------
    outlook
        Of n vehicles, or broadcast against `days_after_last` by `Outlook.take`.
    days_after_last : ndarray, shape (n,) or what the outlook broadcasts to, float64
        Days after `last_time_days`, zero or more. [d]

    Returns
    -------
    mean_km, variance_km2 : ndarray
        The mean may be below zero: nothing here knows that an odometer never falls.
    """
    t = days_after_last
    psi = (1.0 - np.exp(-outlook.theta * t)) * outlook.inverse_theta
    mean = outlook.x + psi * outlook.u + t * outlook.m
    variance = outlook.v0 + t * (outlook.v1 + t * (outlook.v2 + t * outlook.v3))
    variance += psi * (outlook.w0 + t * outlook.w1 + psi * outlook.w2)
    variance *= outlook.near_variance_factor + outlook.slope * np.minimum(t, FAR_DAYS)
    return mean, np.maximum(variance, LEAST_VARIANCE_KM2, out=variance)


def gaussian_moments(state: UsageState, days_after_last: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the filter's normal law; parameters as for `increment_moments`."""
    axes = (slice(None),) + (None,) * (days_after_last.ndim - 1)
    return outlook_moments(outlook_of(state).take(axes), days_after_last)


def increment_moments(state: UsageState, days_after_last: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the distance a vehicle covers after its last reading.

    Parameters
    ----------
    state
        Filtered readings of n vehicles.
    days_after_last : ndarray, shape (n,) or (n, m), float64
        Days after `last_time_days`, zero or more. [d]

    Returns
    -------
    mean_km, variance_km2 : ndarray, the shape of `days_after_last`
        Both positive. [km], [km^2]

    Notes
    -----
    Those of `gaussian_moments`; a mean below one standard deviation s is bent to ``(M + s)^2 / (4 s)``, so
    that it stays positive and joins smoothly. O(n m).
    """
    mean, variance = gaussian_moments(state, days_after_last)
    return positive_mean(mean, variance), variance


def positive_mean(mean: Floats, variance: Floats) -> Floats:
    """Bend a mean that is small against its standard deviation so that it stays positive."""
    sd = np.sqrt(variance)
    short = np.nonzero(mean < sd)
    if short[0].size == 0:
        return mean
    bent = mean.copy()
    mean, sd = mean[short], sd[short]
    bent[short] = np.maximum(np.maximum(mean + sd, 0.0) ** 2 / (4.0 * sd), LEAST_MEAN_IN_SDS * sd)
    return bent


def gamma_quantiles(mean: Floats, variance: Floats, probabilities: Floats) -> Floats:
    """Quantiles of the gamma laws with these moments, by the cube-root approximation.

    Parameters
    ----------
    mean, variance : ndarray, shape (n,), float64
        Both positive.
    probabilities : ndarray, shape (p,), float64
        Between 0 and 1, both excluded.

    Returns
    -------
    ndarray, shape (n, p), float64
        Never below zero, in the unit of the mean; in the order of the probabilities.

    Raises
    ------
    InvalidInputError
        If a probability is not between 0 and 1.

    References
    ----------
    .. [1] Wilson and Hilferty, "The distribution of chi-square", PNAS 17(12), 1931, 684-688.
    """
    if not bool(np.all((probabilities > 0.0) & (probabilities < 1.0))):
        raise InvalidInputError.at("/probabilities", "must lie between 0 and 1")
    c = (variance / (9.0 * mean * mean))[:, None]
    root = 1.0 - c + ndtri(probabilities)[None, :] * np.sqrt(c)
    return np.asarray(mean[:, None] * np.maximum(root, 0.0) ** 3)


def gamma_scores(mean: Floats, variance: Floats, observed: Floats) -> Floats:
    """Normal scores of distances under the gamma laws that `gamma_quantiles` inverts, all of one shape."""
    c = variance / (9.0 * mean * mean)
    return np.asarray((np.cbrt(np.maximum(observed, 0.0) / mean) - 1.0 + c) / np.sqrt(c))


def odometer_quantiles(state: UsageState, at_days: Floats, probabilities: Floats) -> Floats:
    """Quantiles of the odometer at a time.

    Parameters
    ----------
    state
        Filtered readings of n vehicles.
    at_days : ndarray, shape (n,), float64
        Time asked for, in the epoch of the readings; before the last reading counts as at it. [d]
    probabilities : ndarray, shape (p,), float64
        Between 0 and 1, both excluded.

    Returns
    -------
    ndarray, shape (n, p), float64
        Never below the last accepted reading. [km]

    Raises
    ------
    InvalidInputError
        If a probability is not between 0 and 1.
    """
    mean, variance = increment_moments(state, np.maximum(at_days - state.last_time_days, 0.0))
    return state.last_odometer_km[:, None] + gamma_quantiles(mean, variance, probabilities)


def rate_quantiles(state: UsageState, at_days: Floats, probabilities: Floats) -> Floats:
    """Quantiles of the rate at a time, parameters as for `odometer_quantiles`, in km/d."""
    outlook = outlook_of(state)
    t = np.maximum(at_days - state.last_time_days, 0.0)
    phi = np.exp(-outlook.theta * t)
    mean = outlook.m + phi * outlook.u
    variance = outlook.rate_variance + 3.0 * t * outlook.v3 + phi * (outlook.w1 + phi * outlook.w2)
    variance = np.maximum(
        variance * (outlook.near_variance_factor + outlook.slope * np.minimum(t, FAR_DAYS)),
        LEAST_VARIANCE_KM2,
    )
    return gamma_quantiles(positive_mean(mean, variance), variance, probabilities)
