"""The state of the fluid in every compartment, as a structure of arrays."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Numbers
from service.engine.exchange.checks import require_within
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FluidState:
    """What is in n compartments; every field has shape (n,), float64, and is never modified.

    Parameters
    ----------
    volume_15c_litres : ndarray
        Volume held, at 15 °C. [L]
    life_used : ndarray
        0 is new, 1 is at the condemning limit. [-]
    life_used_variance : ndarray
        Variance of the error of `life_used`. [-]
    water_mass_fraction : ndarray
        Mass of water by mass of fluid, 0.03 is 3 wt%. [kg/kg]
    iron_mg_per_kg : ndarray
        Wear iron. [mg/kg]
    glycol_fraction : ndarray
        Volume of glycol by volume of coolant, as last measured; 0 where nobody did. [L/L]

    Notes
    -----
    Every concentration mixes linearly, by mass for water and iron and by volume for life used. What is
    added is assumed to have the density of what is there (fluids of one kind differ by less than 3 %), so
    that both are one operator; see `mixing`. Boiling point, freeze point and remaining life are derived
    from these and never stored.
    """

    volume_15c_litres: Floats
    life_used: Floats
    life_used_variance: Floats
    water_mass_fraction: Floats
    iron_mg_per_kg: Floats
    glycol_fraction: Floats

    def __len__(self) -> int:
        return int(self.volume_15c_litres.shape[0])


def fluid_state(
    volume_15c_litres: Numbers,
    *,
    life_used: Numbers = 0.0,
    life_used_variance: Numbers = 0.0,
    water_mass_fraction: Numbers = 0.0,
    iron_mg_per_kg: Numbers = 0.0,
    glycol_fraction: Numbers = 0.0,
) -> FluidState:
    """Check and broadcast numbers or arrays into a state; the defaults are new fluid.

    Parameters
    ----------
    volume_15c_litres, life_used, life_used_variance, water_mass_fraction, iron_mg_per_kg, glycol_fraction
        As in `FluidState`; scalars are spread over all compartments. Not modified.

    Returns
    -------
    FluidState
        Fields share memory with float64 arguments where possible; spread scalars are read-only views.

    Raises
    ------
    InvalidInputError
        If a volume, variance or content is negative or not a number, a fraction above 1, or the shapes
        do not fit together.

    Notes
    -----
    O(n).
    """
    checked = (
        require_within("volume_15c_litres", volume_15c_litres, 0.0),
        require_within("life_used", life_used, 0.0),
        require_within("life_used_variance", life_used_variance, 0.0),
        require_within("water_mass_fraction", water_mass_fraction, 0.0, 1.0),
        require_within("iron_mg_per_kg", iron_mg_per_kg, 0.0, 1e6),
        require_within("glycol_fraction", glycol_fraction, 0.0, 1.0),
    )
    columns = spread(*(np.atleast_1d(column) for column in checked))
    return FluidState(
        volume_15c_litres=columns[0],
        life_used=columns[1],
        life_used_variance=columns[2],
        water_mass_fraction=columns[3],
        iron_mg_per_kg=columns[4],
        glycol_fraction=columns[5],
    )


def spread(*columns: Floats) -> tuple[Floats, ...]:
    """Broadcast arrays against each other, without copying.

    Parameters
    ----------
    *columns : ndarray of float64

    Returns
    -------
    tuple of ndarray
        All of one shape; not writable where they were spread.

    Raises
    ------
    InvalidInputError
        If the shapes do not fit together.
    """
    try:
        shape = np.broadcast_shapes(*(column.shape for column in columns))
    except ValueError as error:
        shapes = ", ".join(str(column.shape) for column in columns)
        raise InvalidInputError(f"these lengths do not fit together: {shapes}") from error
    return tuple(column if column.shape == shape else np.broadcast_to(column, shape) for column in columns)
