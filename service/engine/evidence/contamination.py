"""Water and coolant where they must not be."""

from dataclasses import dataclass

import numpy as np

from service.engine.exchange.checks import BoolArray, FloatArray, Floats, require_within


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contamination:
    """What is wrong with n samples; arrays of bool, shape (n,).

    Parameters
    ----------
    has_too_much_water, has_coolant, looks_milky : ndarray of bool
    is_contaminated : ndarray of bool
        Any of them: the compartment is due now, and no exchange plan repairs the cause.
    """

    has_too_much_water: BoolArray
    has_coolant: BoolArray
    looks_milky: BoolArray
    is_contaminated: BoolArray


def find_contamination(
    *,
    water_mass_fraction: FloatArray,
    highest_water_mass_fraction: Floats,
    is_coolant_found: BoolArray,
    is_milky: BoolArray,
) -> Contamination:
    """Tell contaminated samples from merely old ones.

    Parameters
    ----------
    water_mass_fraction : ndarray, shape (n,), float64
        Measured, NaN where it was not. Not modified. [kg/kg]
    highest_water_mass_fraction : float or ndarray, shape (n,)
        The limit itself is still allowed: 0.002 for an automatic gearbox (a heavy-duty operator's manual
        calls up to 0.2 % normal condensate). [kg/kg]
    is_coolant_found : ndarray of bool, shape (n,)
        Glycol or another trace of coolant; any of it condemns.
    is_milky : ndarray of bool, shape (n,)
        Milky, pink or foamy at a look.

    Returns
    -------
    Contamination

    Raises
    ------
    InvalidInputError
        If a water content or its limit is not between 0 and 1.
    """
    water = np.asarray(water_mass_fraction, dtype=np.float64)
    is_measured = ~np.isnan(water)
    require_within("water_mass_fraction", water[is_measured], 0.0, 1.0)
    limit = require_within("highest_water_mass_fraction", highest_water_mass_fraction, 0.0, 1.0)
    is_wet = np.where(is_measured, water, 0.0) > limit
    coolant = np.asarray(is_coolant_found, dtype=np.bool_)
    milky = np.asarray(is_milky, dtype=np.bool_)
    return Contamination(
        has_too_much_water=is_wet,
        has_coolant=coolant,
        looks_milky=milky,
        is_contaminated=is_wet | coolant | milky,
    )
