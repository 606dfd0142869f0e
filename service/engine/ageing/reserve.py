"""Additive reserve: what is left of an antioxidant or an inhibitor."""

import numpy as np

from service.engine.exchange.checks import FloatArray, Floats, require_within


def reserve_first_order(initial_fraction: Floats, rate_per_km: Floats, distance_km: Floats) -> FloatArray:
    """Reserve left if each kilometre uses the same share of what is there.

    Parameters
    ----------
    initial_fraction : float or ndarray
        Share of a new fluid's reserve at the start, 0 to 1. [-]
    rate_per_km : float or ndarray
        k, not negative. [1/km]
    distance_km : float or ndarray
        Not negative. [km]

    Returns
    -------
    ndarray of float64
        a₀ e^{−kx}. [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    start = require_within("initial_fraction", initial_fraction, 0.0, 1.0)
    exponent = require_within("rate_per_km", rate_per_km, 0.0) * require_within(
        "distance_km", distance_km, 0.0
    )
    return np.asarray(start * np.exp(-exponent))


def reserve_zero_order(initial_fraction: Floats, rate_per_km: Floats, distance_km: Floats) -> FloatArray:
    """Reserve left if each kilometre uses the same amount.

    Parameters
    ----------
    initial_fraction, rate_per_km, distance_km : float or ndarray
        As in `reserve_first_order`.

    Returns
    -------
    ndarray of float64
        max(0, a₀ − kx). [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    The form that life used has, and the reason why it mixes without a history.
    """
    start = require_within("initial_fraction", initial_fraction, 0.0, 1.0)
    used = require_within("rate_per_km", rate_per_km, 0.0) * require_within("distance_km", distance_km, 0.0)
    return np.asarray(np.maximum(start - used, 0.0))


def distance_to_reserve_km(
    initial_fraction: Floats, limit_fraction: Floats, first_order_rate_per_km: Floats
) -> FloatArray:
    """Distance in which a first-order reserve falls to a limit.

    Parameters
    ----------
    initial_fraction, limit_fraction : float or ndarray
        Above 0, at most 1. [-]
    first_order_rate_per_km : float or ndarray
        k, positive. [1/km]

    Returns
    -------
    ndarray of float64
        ln(a₀/a_lim)/k, 0 where the limit is passed already. [km]

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    start = require_within("initial_fraction", initial_fraction, 1e-9, 1.0)
    limit = require_within("limit_fraction", limit_fraction, 1e-9, 1.0)
    rate = require_within("first_order_rate_per_km", first_order_rate_per_km, 1e-12)
    return np.asarray(np.maximum(np.log(start / limit), 0.0) / rate)
