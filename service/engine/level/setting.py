"""Where the level stands at the check, and whether it may be set at this temperature."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from service.engine.arrays import Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.level.expansion import (
    HIGHEST_CELSIUS,
    LOWEST_CELSIUS,
    litres_at,
    volume_correction_factor,
)
from service.errors import InvalidInputError
from service.units import MILLILITRES_PER_LITRE


class WindowOutcome(IntEnum):
    """Where the oil temperature lies; also what has to happen before the level may be set."""

    INSIDE = 0
    TOO_COLD = 1
    TOO_HOT = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowCheck:
    """Whether a level may be set at this temperature; arrays of shape (n,).

    Parameters
    ----------
    outcome : ndarray of int64
        A `WindowOutcome`.
    level_error_millilitres : ndarray
        Fluid too much (positive) once the oil is inside the window, if the level were set now. [mL]
    """

    outcome: Integers
    level_error_millilitres: Floats


def excess_millilitres(
    *,
    volume_15c_litres: Numbers,
    level_litres: Numbers,
    check_celsius: Numbers,
    density_15c_kg_per_m3: Numbers,
) -> Floats:
    """Fluid that should run off at the level check, or be missing if negative.

    Parameters
    ----------
    volume_15c_litres : float or ndarray
        What is in the compartment, at 15 °C. [L]
    level_litres : float or ndarray
        What the compartment holds when the fluid just reaches the mark. [L]
    check_celsius : float or ndarray
        Oil temperature at the check. [°C]
    density_15c_kg_per_m3 : float or ndarray
        [kg/m³]

    Returns
    -------
    ndarray of float64
        [mL]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    The mark is a height, so it stands for the same litres at any temperature; the housing's own expansion
    is ignored (derived). The charge is right if the excess is 0 inside the maker's window.
    """
    held = litres_at(volume_15c_litres, check_celsius, density_15c_kg_per_m3)
    return np.asarray((held - require_within("level_litres", level_litres, 0.0)) * MILLILITRES_PER_LITRE)


def check_window(
    oil_celsius: Numbers,
    *,
    lowest_celsius: Numbers,
    highest_celsius: Numbers,
    charge_litres: Numbers,
    density_15c_kg_per_m3: Numbers,
) -> WindowCheck:
    """Compare the oil temperature with the window in which the level may be set.

    Parameters
    ----------
    oil_celsius : float or ndarray, shape (n,)
        Measured. [°C]
    lowest_celsius, highest_celsius : float or ndarray, shape (n,)
        The maker's window; both ends belong to it. [°C]
    charge_litres : float or ndarray, shape (n,)
        The whole charge, because all of it expands. [L]
    density_15c_kg_per_m3 : float or ndarray, shape (n,)
        [kg/m³]

    Returns
    -------
    WindowCheck

    Raises
    ------
    InvalidInputError
        If a value is out of range or a window ends before it begins.
    """
    bounds = LOWEST_CELSIUS, HIGHEST_CELSIUS
    oil = require_within("oil_celsius", oil_celsius, *bounds)
    lowest = require_within("lowest_celsius", lowest_celsius, *bounds)
    highest = require_within("highest_celsius", highest_celsius, *bounds)
    if np.any(highest < lowest):
        raise InvalidInputError.at("/highest_celsius", "a level window must not end below its beginning")
    oil, nearest = np.broadcast_arrays(np.atleast_1d(oil), np.clip(oil, lowest, highest))
    here = volume_correction_factor(oil, density_15c_kg_per_m3)
    inside = volume_correction_factor(nearest, density_15c_kg_per_m3)
    error = require_within("charge_litres", charge_litres, 0.0) * (here / inside - 1.0)
    off = oil - nearest
    outcome = np.where(
        off < 0.0, WindowOutcome.TOO_COLD, np.where(off > 0.0, WindowOutcome.TOO_HOT, WindowOutcome.INSIDE)
    )
    return WindowCheck(
        outcome=outcome.astype(np.int64),
        level_error_millilitres=error * MILLILITRES_PER_LITRE,
    )
