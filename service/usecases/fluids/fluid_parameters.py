"""Translate fluid kinds and compartments into the arrays that the engine works with."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.fluid_defaults import defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Sourced
from service.domain.vehicle_classes import VehicleClass
from service.engine.ageing.age import AgeingRates
from service.engine.arrays import Floats
from service.units import DAYS_PER_YEAR

OWN_COLUMNS: Final = {
    "life_km": 0,
    "life_days": 1,
    "life_hours": 2,
    "life_coefficient_of_variation": 3,
    "planning_reserve_fraction": 4,
    "duty_multiplier": 8,
}
"""Parameters that a compartment may have of its own, in `Compartment.ageing`, and their columns."""

N_COLUMNS: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentParameters:
    """Parameters of n compartments, each field of shape (n,)."""

    rates: AgeingRates
    duty_multiplier: Floats
    planning_reserve_fraction: Floats
    density_15c_kg_per_m3: Floats


def parameters_of(
    kinds: Sequence[str],
    vehicle_classes: Sequence[str],
    duties: Sequence[str],
    own: Sequence[Mapping[str, float]],
) -> CompartmentParameters:
    """Collect the parameters of n compartments from their kinds, their vehicles' classes and duties.

    `own` holds what was set or fitted for a compartment itself, by the names in `OWN_COLUMNS`.
    """
    # Most compartments share all of that with many others, and `own` is often the same object.
    groups: dict[tuple[str, str, str, int], int] = {}
    rows: list[Sequence[float]] = []
    index = []
    for kind, vehicle_class, duty, values in zip(kinds, vehicle_classes, duties, own, strict=True):
        group = (kind, vehicle_class, duty, id(values))
        place = groups.setdefault(group, len(rows))
        if place == len(rows):
            row = list(_defaults_row(kind, vehicle_class, duty))
            for name, value in values.items():
                row[OWN_COLUMNS[name]] = value
            rows.append(row)
        index.append(place)
    table = np.array(rows, dtype=np.float64).reshape(len(rows), N_COLUMNS)[np.array(index, dtype=np.int64)]
    return CompartmentParameters(
        rates=AgeingRates(
            distance_limit_km=table[:, 0],
            time_limit_days=table[:, 1],
            hours_limit=table[:, 2],
            life_coefficient_of_variation=table[:, 3],
            water_limit_mass_fraction=table[:, 5],
            water_time_constant_days=table[:, 6],
            iron_mg_per_kg_per_km=table[:, 7],
        ),
        planning_reserve_fraction=table[:, 4],
        duty_multiplier=table[:, 8],
        density_15c_kg_per_m3=table[:, 9],
    )


@cache
def _defaults_row(kind: str, vehicle_class: str, duty: str) -> tuple[float, ...]:
    defaults = defaults_for(FluidKind(kind), VehicleClass(vehicle_class))
    ageing, water = defaults.ageing, defaults.contamination
    return (
        _or(ageing.life_km, np.inf),
        ageing.life_days.value,
        _or(ageing.life_hours, np.inf),
        ageing.life_coefficient_of_variation.value,
        ageing.planning_reserve_fraction.value,
        _or(water.water_saturation_fraction, 0.0),
        _or(water.water_time_constant_days, DAYS_PER_YEAR),
        _or(ageing.iron_mg_per_kg_per_1000km, 0.0) / 1000.0,
        DUTY_DEFAULTS[Duty(duty)].rate_multiplier.value,
        defaults.exchange.density_15c_kg_per_m3.value,
    )


def _or(sourced: Sourced | None, otherwise: float) -> float:
    return otherwise if sourced is None else sourced.value
