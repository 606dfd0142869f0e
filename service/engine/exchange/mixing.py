"""The one linear operator behind every exchange, top-up and leak."""

from dataclasses import replace
from typing import Final

import numpy as np

from service.engine.exchange.checks import FloatArray, Floats, require_within
from service.engine.exchange.state import AddedFluid, FluidState
from service.errors import InvalidInputError

NEW_FLUID: Final = AddedFluid()
"""New oil: nothing used, no water, no iron."""

ROUNDING_LITRES: Final = 1e-9
"""Litres that float64 may lose between two ways to add up the same volume; derived."""


def blend(
    state: FluidState,
    added: AddedFluid,
    *,
    retained_share: FloatArray,
    volume_15c_litres: FloatArray,
    retained_share_sd: Floats = 0.0,
) -> FluidState:
    """Mix a share of what was there with what was added.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    added : AddedFluid
        What the rest of the new charge consists of.
    retained_share : ndarray, shape (n,), float64
        Share κ of the new charge that was there before. [-]
    volume_15c_litres : ndarray, shape (n,), float64
        Volume held afterwards. [L]
    retained_share_sd : float or ndarray, shape (n,)
        Standard deviation of κ, from the uncertainty of the total volume. [-]

    Returns
    -------
    FluidState

    Notes
    -----
    c' = κ c + (1 − κ) c_added for every concentration, and for life used u
    var' = κ² var + (1 − κ)² var_added + (u − u_added)² sd(κ)²
    (first order, errors independent; derived). With κ = 1 − φ and new fluid this is
    σ'² = (1 − φ)² σ² + u² σ_φ². O(n).
    """
    fresh_share = 1.0 - retained_share
    spread_squared = np.square(np.subtract(state.life_used, added.life_used) * retained_share_sd)
    variance = np.square(retained_share) * state.life_used_variance
    variance += spread_squared
    if np.any(np.asarray(added.life_used_variance) > 0.0):
        variance += np.square(fresh_share) * added.life_used_variance
    return FluidState(
        volume_15c_litres=volume_15c_litres,
        life_used=_mixed(state.life_used, added.life_used, retained_share, fresh_share),
        life_used_variance=variance,
        water_mass_fraction=_mixed(
            state.water_mass_fraction, added.water_mass_fraction, retained_share, fresh_share
        ),
        iron_mg_per_kg=_mixed(state.iron_mg_per_kg, added.iron_mg_per_kg, retained_share, fresh_share),
        glycol_fraction=_mixed(state.glycol_fraction, added.glycol_fraction, retained_share, fresh_share),
    )


def _mixed(before: FloatArray, added: Floats, retained: FloatArray, fresh: FloatArray) -> FloatArray:
    mixed = before * retained
    if not (np.ndim(added) == 0 and added == 0.0):
        mixed += fresh * added
    return mixed


def top_up(state: FluidState, added_15c_litres: Floats, added: AddedFluid = NEW_FLUID) -> FluidState:
    """Add fluid and drain none.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    added_15c_litres : float or ndarray, shape (n,)
        Litres poured, at 15 °C, not negative. [L]
    added : AddedFluid
        What was poured.

    Returns
    -------
    FluidState

    Raises
    ------
    InvalidInputError
        If litres are negative or not a number.

    Notes
    -----
    Old share V / (V + t). An empty compartment that gets nothing stays as it is. O(n).
    """
    poured = require_within("added_15c_litres", added_15c_litres, 0.0)
    after = state.volume_15c_litres + poured
    return blend(
        state, added, retained_share=share_of(state.volume_15c_litres, after), volume_15c_litres=after
    )


def leak(state: FluidState, lost_15c_litres: Floats) -> FluidState:
    """Lose mixed fluid: the volume falls, every concentration stays.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    lost_15c_litres : float or ndarray, shape (n,)
        Litres lost, at 15 °C, between 0 and what is there. [L]

    Returns
    -------
    FluidState

    Raises
    ------
    InvalidInputError
        If litres are negative, not a number, or more than there is.
    """
    lost = require_within("lost_15c_litres", lost_15c_litres, 0.0)
    require_enough(lost, state.volume_15c_litres)
    return replace(state, volume_15c_litres=np.maximum(state.volume_15c_litres - lost, 0.0))


def require_enough(taken_litres: FloatArray, held_litres: FloatArray) -> None:
    """Refuse to take more out of a compartment than it holds.

    Parameters
    ----------
    taken_litres, held_litres : ndarray of float64, shapes that broadcast
        [L]

    Raises
    ------
    InvalidInputError
        If more is taken than held, anywhere, beyond what rounding explains.
    """
    missing = np.asarray(taken_litres - held_litres)
    if missing.size and float(missing.max()) > ROUNDING_LITRES:
        raise InvalidInputError(
            f"{float(missing.max()):.3f} L more were taken out than the compartment holds"
        )


def share_of(part: FloatArray, whole: FloatArray) -> FloatArray:
    """Part by whole, and 1 where there is no whole (an empty compartment that got nothing).

    Parameters
    ----------
    part, whole : ndarray of float64, shape (n,)

    Returns
    -------
    ndarray of float64, shape (n,)
    """
    part, whole = np.broadcast_arrays(part, whole)
    return np.divide(part, whole, out=np.ones(whole.shape), where=whole > 0.0)
