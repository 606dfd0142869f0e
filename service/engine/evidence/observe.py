"""Correct the life used by what was seen or measured."""

from dataclasses import replace
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.state import FluidState

LARGEST_DROP_IN_DEVIATIONS: Final = 2.0
"""A look alone may not lower the estimate by more. Common practice, no source."""


def observe(
    state: FluidState,
    observed_life_used: Numbers,
    observed_sd: Numbers,
    *,
    is_laboratory: bool | Booleans = False,
) -> FluidState:
    """Weigh an observed life used against the estimate (scalar Kalman update).

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    observed_life_used : float or ndarray, shape (n,)
        From a visual grade or a laboratory; NaN where nothing was observed. [-]
    observed_sd : float or ndarray, shape (n,)
        Standard deviation of its error, positive. [-]
    is_laboratory : bool or ndarray of bool, shape (n,)
        Laboratory samples may lower the estimate freely; a look may not.

    Returns
    -------
    FluidState
        After the observation; as before where there was none.

    Raises
    ------
    InvalidInputError
        If an observation is negative or its deviation is not positive.

    Notes
    -----
    K = σ² / (σ² + σ_m²), u' = u + K (z − u), σ'² = (1 − K) σ². Without a laboratory sample u' ≥ u − 2σ.
    Never below 0. O(n).

    References
    ----------
    .. [1] Kalman, "A new approach to linear filtering and prediction problems", 1960; scalar case.
    """
    observed, deviation, is_free = np.broadcast_arrays(
        np.asarray(observed_life_used, dtype=np.float64),
        require_within("observed_sd", observed_sd, 1e-6),
        np.asarray(is_laboratory, dtype=np.bool_),
    )
    is_seen = ~np.isnan(observed)
    require_within("observed_life_used", observed[is_seen], 0.0, 10.0)
    variance = state.life_used_variance
    gain = np.where(is_seen, variance / (variance + np.square(deviation)), 0.0)
    innovation = np.where(is_seen, observed, state.life_used) - state.life_used
    updated = state.life_used + gain * innovation
    lowest = state.life_used - LARGEST_DROP_IN_DEVIATIONS * np.sqrt(variance)
    is_limited = (updated < lowest) & ~is_free
    updated = np.maximum(np.where(is_limited, lowest, updated), 0.0)
    return replace(state, life_used=updated, life_used_variance=(1.0 - gain) * variance)


def record_measured_contents(
    state: FluidState,
    *,
    water_mass_fraction: Numbers = np.nan,
    iron_mg_per_kg: Numbers = np.nan,
    glycol_fraction: Numbers = np.nan,
) -> FluidState:
    """Take measured contents over as they are; NaN leaves the estimate.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    water_mass_fraction, iron_mg_per_kg, glycol_fraction : float or ndarray, shape (n,)

    Returns
    -------
    FluidState

    Raises
    ------
    InvalidInputError
        If a content is negative, or a fraction above 1.
    """
    return replace(
        state,
        water_mass_fraction=_taken_over(
            "water_mass_fraction", state.water_mass_fraction, water_mass_fraction, 1.0
        ),
        iron_mg_per_kg=_taken_over("iron_mg_per_kg", state.iron_mg_per_kg, iron_mg_per_kg, 1e6),
        glycol_fraction=_taken_over("glycol_fraction", state.glycol_fraction, glycol_fraction, 1.0),
    )


def _taken_over(name: str, before: Floats, measured: Numbers, highest: float) -> Floats:
    values = np.asarray(measured, dtype=np.float64)
    is_missing = np.isnan(values)
    require_within(name, values[~is_missing], 0.0, highest)
    return np.where(is_missing, before, values)
