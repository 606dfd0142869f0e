"""A vehicle's own scale: its average distance a day, drawn towards its class while its history is short."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats
from service.engine.usage.priors import TAIL_FACTOR
from service.engine.usage.state import UsageState

# Common practice, no source: how far, in prior standard deviations, an average may lie from its class.
CLIP_SDS: Final = 5.0
# (z^2 + 1) / 2 with z the 90 % point of the normal law.
STUDENT_ALLOWANCE: Final = 1.3212


def scale_km_per_day(state: UsageState) -> Floats:
    """Scale of every vehicle: log average rate and class prior, weighted by their precisions.

    Parameters
    ----------
    state
        Filtered readings of n vehicles.

    Returns
    -------
    ndarray, shape (n,), float64
        Always positive. [km/d]

    Notes
    -----
    With T days between the first and the last reading, the log average has variance s^2/T where
    s^2 = s_w^2 + 2 s_u^2 / theta is the model's diffusion over long spans. A vehicle that never moved is held at
    the lowest scale its class allows. O(n).
    """
    span_days = np.maximum(state.used_time_days - state.first_time_days, 0.0)
    distance_km = state.used_odometer_km - state.first_odometer_km
    centre, sd = state.prior_log_rate, state.prior_log_rate_sd
    lowest, highest = np.exp(centre - CLIP_SDS * sd), np.exp(centre + CLIP_SDS * sd)
    rate = np.divide(distance_km, span_days, out=np.exp(centre), where=span_days > 0.0)
    log_rate = np.log(np.clip(rate, lowest, highest))
    return np.asarray(np.exp(log_rate + _share_of_class(state) * (centre - log_rate)))


def scale_log_sd(state: UsageState) -> Floats:
    """Standard deviation that the log of a scale still has because it is the class's guess, shape (n,).

    Notes
    -----
    The spread of the class, which is its prior's without `TAIL_FACTOR`, as far as the scale rests on the class:
    nearly all of the doubt about a vehicle that was read once, nothing after some months of readings.
    """
    return np.asarray(_share_of_class(state) * state.prior_log_rate_sd / TAIL_FACTOR)


def _share_of_class(state: UsageState) -> Floats:
    """Weight of the class against the vehicle's own average, by their precisions."""
    span_days = np.maximum(state.used_time_days - state.first_time_days, 0.0)
    diffusion = state.noise_variance + 2.0 * state.temporary_variance / state.reversion_per_day
    own = span_days / np.maximum(diffusion, 1e-12)
    return np.asarray(1.0 / (1.0 + own * state.prior_log_rate_sd**2))


def dispersion(state: UsageState) -> Floats:
    """How much more (above one) or less a vehicle varies than its fleet, as a factor on variances.

    Returns
    -------
    ndarray, shape (n,), float64
        ``(nu0 + sum e^2/F) / (nu0 + (n - 1)^2 / n)``, with the innovations e in units of the vehicle's scale, times
        an allowance for knowing it from n readings only.

    Notes
    -----
    The scale is taken from the same readings, which makes their n - 1 innovations smaller by nearly one degree of
    freedom; that n-th of it which the class then still decides is a rough mean over fleets.

    A conjugate scale makes the predictive law a Student t; its 10 % and 90 % points lie further out than the
    normal ones by a factor whose square is ``1 + (z^2 + 1) / (2 nu)`` to first order (Cornish and Fisher 1938),
    z = 1.2816. While the fleet's word is all there is (n = 1), nothing is added.
    """
    own = np.maximum(state.n_used - 1.0, 0.0) ** 2 / np.maximum(state.n_used, 1.0)
    degrees = state.dispersion_weight + own
    factor = (state.dispersion_weight + squared_innovations(state)) / degrees
    return np.asarray(factor * (1.0 + STUDENT_ALLOWANCE * own / degrees**2))


def squared_innovations(state: UsageState) -> Floats:
    """Sum of e^2/F over a vehicle's readings, in units of its scale, shape (n,)."""
    scale = scale_km_per_day(state)
    squares = state.squares_data / scale**2 - 2.0 * state.squares_cross / scale + state.squares_prior
    return np.asarray(np.maximum(squares, 0.0))
