"""Ageing of a fluid by distance, time, hours and temperature."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.state import FluidState
from service.errors import InvalidInputError

WIDENING_STARTS_AT_LIFE_USED: Final = 0.7
"""Above it real oils depart from the straight line (S-shaped depletion). Common practice, no source."""

WIDENING_FACTOR: Final = 1.5
"""How much faster the standard deviation grows there. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """What n compartments went through since their state was taken.

    Parameters
    ----------
    distance_km, days, hours : float or ndarray, shape (n,)
        Not negative. [km], [d], [h]
    duty_multiplier : float or ndarray, shape (n,), optional
        Multiplies the wear of distance: 1 is normal. [-]
    temperature_factor : float or ndarray, shape (n,), optional
        The same from a temperature histogram, see `temperature.duty_from_histogram`. [-]

    Notes
    -----
    Only one of the two factors may be given: both describe the same heat, and counting it twice would
    halve every interval.
    """

    distance_km: Numbers = 0.0
    days: Numbers = 0.0
    hours: Numbers = 0.0
    duty_multiplier: Numbers | None = None
    temperature_factor: Numbers | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AgeingRates:
    """How fast the fluids of n compartments age; each field a number or an array of shape (n,).

    Parameters
    ----------
    distance_limit_km, time_limit_days, hours_limit : float or ndarray
        What uses a whole life by itself; infinite where the fluid does not age that way. [km], [d], [h]
    life_coefficient_of_variation : float or ndarray
        Relative standard deviation of the rate, the same error all life long. [-]
    water_limit_mass_fraction : float or ndarray
        Water that a hygroscopic fluid tends to; 0 where it takes up none. [kg/kg]
    water_time_constant_days : float or ndarray
        Time in which 63 % of that is reached. [d]
    iron_mg_per_kg_per_km : float or ndarray
        Iron that wear adds to the charge. [mg/kg/km]
    replaced_share_per_km : float or ndarray
        Share of the charge that leaks and is replaced by new fluid without being recorded; 0 where
        top-ups are recorded as such. [1/km]
    """

    distance_limit_km: Numbers = np.inf
    time_limit_days: Numbers = np.inf
    hours_limit: Numbers = np.inf
    life_coefficient_of_variation: Numbers = 0.0
    water_limit_mass_fraction: Numbers = 0.0
    water_time_constant_days: Numbers = np.inf
    iron_mg_per_kg_per_km: Numbers = 0.0
    replaced_share_per_km: Numbers = 0.0


def age(state: FluidState, exposure: Exposure, rates: AgeingRates) -> FluidState:
    """Let distance, time and hours pass.

    Parameters
    ----------
    state : FluidState
        n compartments before. Not modified.
    exposure : Exposure
        What they went through.
    rates : AgeingRates
        How fast they age.

    Returns
    -------
    FluidState
        The volume is as before.

    Raises
    ------
    InvalidInputError
        If both a duty multiplier and a temperature factor are given, or a value is out of range.

    Notes
    -----
    Δu = D Δkm / L_km + Δt / L_t + Δh / L_h (zero order, so it mixes). The rate's error is the same at all
    times, so the standard deviation grows with it: σ' = σ + cv Δu, and 1.5 times as fast above u = 0.7.
    Water tends to its limit, w' = w + (w∞ − w)(1 − e^{−Δt/τ}), and never falls by ageing. Iron grows by
    wear. With a replaced share k per km, u and iron follow du/dx = a − k u: the start shrinks by e^{−kΔx}
    and the growth by (1 − e^{−kΔx}) / (kΔx). Ageing in two steps equals ageing in one, except for the
    order of growth and replacement in σ above 0.7. O(n).
    """
    growth = life_used_growth(exposure, rates)
    iron_growth = np.multiply(
        require_within("distance_km", exposure.distance_km, 0.0),
        require_within("iron_mg_per_kg_per_km", rates.iron_mg_per_kg_per_km, 0.0),
    )
    deviation = np.sqrt(state.life_used_variance)
    life_used, iron = state.life_used, state.iron_mg_per_kg
    replaced = np.asarray(require_within("replaced_share_per_km", rates.replaced_share_per_km, 0.0))
    if np.any(replaced > 0.0):
        kept, mean_kept = _replacement(replaced * exposure.distance_km)
        life_used, iron, deviation = life_used * kept, iron * kept, deviation * kept
        growth, iron_growth = growth * mean_kept, iron_growth * mean_kept
    after = life_used + growth
    deviation = deviation + np.multiply(
        require_within("life_coefficient_of_variation", rates.life_coefficient_of_variation, 0.0),
        growth + (WIDENING_FACTOR - 1.0) * _growth_above_widening(life_used, after),
    )
    return FluidState(
        volume_15c_litres=state.volume_15c_litres,
        life_used=after,
        life_used_variance=np.square(deviation),
        water_mass_fraction=_water_after(state.water_mass_fraction, exposure, rates),
        iron_mg_per_kg=iron + iron_growth,
        glycol_fraction=state.glycol_fraction,
    )


def life_used_growth(exposure: Exposure, rates: AgeingRates) -> Floats:
    """Life that an exposure uses, Δu.

    Parameters
    ----------
    exposure : Exposure
    rates : AgeingRates

    Returns
    -------
    ndarray, shape () or (n,), float64
        Not negative. [-]

    Raises
    ------
    InvalidInputError
        If both factors are given, a value is negative or not a number, or a limit is not positive.
    """
    if exposure.duty_multiplier is not None and exposure.temperature_factor is not None:
        raise InvalidInputError(
            "give a duty multiplier or a temperature factor, not both: they count the same heat twice"
        )
    factor: Numbers = 1.0
    if exposure.duty_multiplier is not None:
        factor = require_within("duty_multiplier", exposure.duty_multiplier, 0.0)
    elif exposure.temperature_factor is not None:
        factor = require_within("temperature_factor", exposure.temperature_factor, 0.0)
    growth = _portion("distance", exposure.distance_km, rates.distance_limit_km) * factor
    growth = growth + _portion("days", exposure.days, rates.time_limit_days)
    return np.asarray(growth + _portion("hours", exposure.hours, rates.hours_limit), dtype=np.float64)


def _portion(name: str, passed: Numbers, limit: Numbers) -> Floats:
    smallest_limit = np.finfo(np.float64).tiny
    return np.asarray(
        require_within(name, passed, 0.0) / require_within(f"{name}_limit", limit, smallest_limit, np.inf)
    )


def _growth_above_widening(before: Floats, after: Floats) -> Floats:
    start = WIDENING_STARTS_AT_LIFE_USED
    growth: Floats = np.maximum(after, start) - np.maximum(before, start)
    return growth


def _replacement(turnover: Floats) -> tuple[Floats, Floats]:
    """e^{−x} and its mean over the way, (1 − e^{−x})/x."""
    lost = -np.expm1(-turnover)
    return 1.0 - lost, np.divide(lost, turnover, out=np.ones(np.shape(turnover)), where=turnover > 0.0)


def _water_after(water: Floats, exposure: Exposure, rates: AgeingRates) -> Floats:
    limit = require_within("water_limit_mass_fraction", rates.water_limit_mass_fraction, 0.0, 1.0)
    if not np.any(limit > 0.0):
        return water
    constant = require_within("water_time_constant_days", rates.water_time_constant_days, 1e-6, np.inf)
    approached: Floats = -np.expm1(-np.divide(exposure.days, constant))
    taken_up: Floats = np.maximum(limit - water, 0.0) * approached
    return water + taken_up
