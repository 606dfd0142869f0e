"""Rate of change between two samples, corrected for the fluid exchanged between them."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Floats, Numbers
from service.engine.exchange.checks import require_within
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SamplePairs:
    """Two consecutive samples of n compartments; each field a number or an array of shape (n,).

    Parameters
    ----------
    earlier_value, later_value : float or ndarray
        Of one test, such as iron in mg/kg.
    earlier_km, later_km : float or ndarray
        Odometer at either sample, or hours: the rate is by whatever is given. [km]
    new_fluid_value : float or ndarray
        What new fluid brings; 0 for wear metals.
    value_sd : float or ndarray
        Standard deviation of one measurement.
    """

    earlier_value: Numbers
    later_value: Numbers
    earlier_km: Numbers
    later_km: Numbers
    new_fluid_value: Numbers = 0.0
    value_sd: Numbers = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RateOfChange:
    """How fast a value rises; arrays of shape (n,).

    Parameters
    ----------
    rate_per_km, rate_sd_per_km : ndarray
        In the value's unit by kilometre.
    is_alarm : ndarray of bool
        True where the rate is above its limit.
    """

    rate_per_km: Floats
    rate_sd_per_km: Floats
    is_alarm: Booleans


def rate_of_change(
    pairs: SamplePairs,
    *,
    exchanged_at_km: Floats,
    retained_share: Floats,
    highest_rate_per_km: Numbers,
) -> RateOfChange:
    """Rate at which a value rose between two samples.

    Parameters
    ----------
    pairs : SamplePairs
    exchanged_at_km : ndarray, shape (n_exchanges, n), float64
        Odometer of each exchange between the samples, in order; NaN where a compartment had fewer. Not
        modified. [km]
    retained_share : ndarray, shape (n_exchanges, n), float64
        Old share that each left; not read where the odometer is NaN. Not modified. [-]
    highest_rate_per_km : float or ndarray, shape (n,)
        Alarm limit.

    Returns
    -------
    RateOfChange

    Raises
    ------
    InvalidInputError
        If the later sample is not beyond the earlier one, an exchange is not between them or not in order,
        or a share is not between 0 and 1.

    Notes
    -----
    Without exchange (x₁ − x₀)/(t₁ − t₀). An exchange that keeps the share κ of the old fluid turns the
    value and the distance behind it into κ times as much (plus (1 − κ) of the new fluid's value), since
    what was worn off before went out with the fluid: the rate is (x₁ − x̃)/(effective distance). With a
    full exchange at the earlier sample this is the published rule "after a drain use 0". O(n_exchanges n).

    References
    ----------
    .. [1] Trade article on time-dependent limits of used-oil analysis (rule for a full drain); the form for
       partial exchanges is derived.
    """
    start, at, later = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in _odometers(pairs))
    )
    span, weight = np.zeros(start.shape), np.ones(start.shape)
    for exchange_km, share in zip(exchanged_at_km, retained_share, strict=True):
        is_done = ~np.isnan(exchange_km)
        here = np.where(is_done, exchange_km, at)
        kept = np.where(is_done, share, 1.0)
        require_within("retained_share", kept, 0.0, 1.0)
        if np.any(here < at) or np.any(here > later):
            raise InvalidInputError.at(
                "/exchanged_at_km", "an exchange must lie between the two samples, in order"
            )
        span = (span + (here - at)) * kept
        start = kept * start + (1.0 - kept) * pairs.new_fluid_value
        weight, at = weight * kept, here
    span = span + (later - at)
    if np.any(span <= 0.0):
        raise InvalidInputError.at("/later_km", "the later sample must be beyond the earlier one")
    rate = (pairs.later_value - start) / span
    deviation = require_within("value_sd", pairs.value_sd, 0.0) * np.sqrt(1.0 + np.square(weight)) / span
    return RateOfChange(
        rate_per_km=rate,
        rate_sd_per_km=deviation,
        is_alarm=np.asarray(rate > highest_rate_per_km),
    )


def _odometers(pairs: SamplePairs) -> tuple[Numbers, Numbers, Numbers]:
    require_within("earlier_km", pairs.earlier_km, 0.0)
    require_within("later_km", pairs.later_km, 0.0)
    require_within("later_value", pairs.later_value, 0.0)
    return require_within("earlier_value", pairs.earlier_value, 0.0), pairs.earlier_km, pairs.later_km
