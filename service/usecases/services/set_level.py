"""Whether a level was set where the maker allows it, and by how much it would be off."""

from typing import Final

import numpy as np

from service.domain import plausibility
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.engine.level.setting import WindowOutcome, check_window
from service.store.tables.fluids import Fluid
from service.store.tables.vehicles import Compartment

SMALLEST_TOLD_LITRES: Final = 0.01
"""Less than that nobody can measure in a workshop. Common practice, no source."""


def level_advice(fluid_celsius: float, compartment: Compartment, fluid: Fluid | None) -> str | None:
    """Say what to do about a level that was set outside the window; None when it was inside, or there is none.

    The amount is what the whole charge grows or shrinks by on its way to the window; beyond the tables of
    expansion it is told for their end.
    """
    low, high = compartment.level_min_celsius, compartment.level_max_celsius
    if low is None or high is None:
        return None
    bounds = plausibility.EXPANSION_CELSIUS
    check = check_window(
        np.clip(fluid_celsius, bounds.minimum, bounds.maximum),
        lowest_celsius=low,
        highest_celsius=high,
        charge_litres=compartment.total_litres,
        density_15c_kg_per_m3=_density_of(compartment, fluid),
    )
    amount = _amount(abs(float(check.level_error_millilitres[0])) / 1000.0)
    if check.outcome[0] == WindowOutcome.TOO_COLD:
        return (
            f"The fluid was at {fluid_celsius:.0f} °C, the window opens at {low:.0f} °C. Run it warmer and set "
            f"the level again: as it warms it will stand {amount} too high."
        )
    if check.outcome[0] == WindowOutcome.TOO_HOT:
        return (
            f"The fluid was at {fluid_celsius:.0f} °C, the window closes at {high:.0f} °C. Let it cool and set "
            f"the level again: as it cools it will stand {amount} too low."
        )
    return None


def _density_of(compartment: Compartment, fluid: Fluid | None) -> float:
    if fluid is not None and fluid.density_15c_kg_per_m3 is not None:
        return fluid.density_15c_kg_per_m3
    return EXCHANGE_DEFAULTS[FluidKind(compartment.kind)].density_15c_kg_per_m3.value


def _amount(litres: float) -> str:
    return "a little" if litres < SMALLEST_TOLD_LITRES else f"about {litres:.2f} L"
