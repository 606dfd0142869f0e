"""The one linear operator behind every exchange, top-up and leak."""

from dataclasses import replace
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.state import FluidState
from service.errors import InvalidInputError

ROUNDING_LITRES: Final = 1e-9
"""Litres that float64 may lose between two ways to add up the same volume; derived."""


def blend(
    state: FluidState,
    *,
    retained_share: Floats,
    volume_15c_litres: Floats,
    retained_share_sd: Numbers = 0.0,
) -> FluidState:
    """Mix a share of what was there with new fluid.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
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
    New fluid has no life used, no water and no iron, so c' = κ c, and for life used u
    var' = κ² var + u² sd(κ)² (first order, errors independent; derived). New brake fluid holds 0.001 to 0.002
    of water (one data sheet allows 0.0020), which is left out. New coolant is taken to be as strong as the one
    before. O(n).
    """
    variance = np.square(retained_share) * state.life_used_variance
    variance += np.square(state.life_used * retained_share_sd)
    return FluidState(
        volume_15c_litres=volume_15c_litres,
        life_used=state.life_used * retained_share,
        life_used_variance=variance,
        water_mass_fraction=state.water_mass_fraction * retained_share,
        iron_mg_per_kg=state.iron_mg_per_kg * retained_share,
        glycol_fraction=state.glycol_fraction,
    )


def top_up(state: FluidState, added_15c_litres: Numbers) -> FluidState:
    """Add new fluid and drain none.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    added_15c_litres : float or ndarray, shape (n,)
        Litres poured, at 15 °C, not negative. [L]

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
    return blend(state, retained_share=share_of(state.volume_15c_litres, after), volume_15c_litres=after)


def leak(state: FluidState, lost_15c_litres: Numbers) -> FluidState:
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


def require_enough(taken_litres: Floats, held_litres: Floats) -> None:
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


def share_of(part: Floats, whole: Floats) -> Floats:
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
