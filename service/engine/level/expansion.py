"""How a petroleum fluid's volume changes with temperature."""

from typing import Final

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within

EXPANSION_CONSTANT: Final = 0.6278
"""kg/(m³ °C). Table 54D form for lubricating oils at 15 °C, ASTM D1250-04 / API MPMS 11.1, quoted in public
calculators and notes; second-hand."""

LOWEST_DENSITY: Final = 800.9
HIGHEST_DENSITY: Final = 1163.5
"""kg/m³ at 15 °C. Range of the lubricating-oil tables, ASTM D1250-04; second-hand."""

LOWEST_CELSIUS: Final = -50.0
HIGHEST_CELSIUS: Final = 150.0
"""Range of the same tables; second-hand."""

REFERENCE_CELSIUS: Final = 15.0


def volume_correction_factor(oil_celsius: Numbers, density_15c_kg_per_m3: Numbers) -> Floats:
    """Volume at 15 °C by volume at a temperature.

    Parameters
    ----------
    oil_celsius : float or ndarray
        −50 to 150. [°C]
    density_15c_kg_per_m3 : float or ndarray
        Density at 15 °C, 800.9 to 1163.5. [kg/m³]

    Returns
    -------
    ndarray of float64
        [-]

    Raises
    ------
    InvalidInputError
        If a value is out of range.

    Notes
    -----
    α = 0.6278/ρ₁₅, Δ = t − 15, factor = exp[−αΔ (1 + 0.8 αΔ)]. For lubricating oils; half-and-half coolant
    expands about three quarters as much (4.1 % against 5.6 % from 20 to 90 °C).

    References
    ----------
    .. [1] ASTM D1250-04 (API MPMS 11.1), Table 54D; form and constants second-hand.
    """
    celsius = require_within("oil_celsius", oil_celsius, LOWEST_CELSIUS, HIGHEST_CELSIUS)
    density = require_within("density_15c_kg_per_m3", density_15c_kg_per_m3, LOWEST_DENSITY, HIGHEST_DENSITY)
    grown = EXPANSION_CONSTANT / density * (celsius - REFERENCE_CELSIUS)
    return np.asarray(np.exp(-grown * (1.0 + 0.8 * grown)))


def litres_at(volume_15c_litres: Numbers, oil_celsius: Numbers, density_15c_kg_per_m3: Numbers) -> Floats:
    """Volume at a temperature of what is known at 15 °C.

    Parameters
    ----------
    volume_15c_litres : float or ndarray
        Not negative. [L]
    oil_celsius, density_15c_kg_per_m3 : float or ndarray
        As in `volume_correction_factor`.

    Returns
    -------
    ndarray of float64
        [L]

    Raises
    ------
    InvalidInputError
        If a value is out of range.
    """
    volume = require_within("volume_15c_litres", volume_15c_litres, 0.0)
    return np.asarray(volume / volume_correction_factor(oil_celsius, density_15c_kg_per_m3))
