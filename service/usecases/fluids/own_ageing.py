"""A compartment's own life, and how its logged oil temperatures wear the fluid; all ends up in `Compartment.ageing`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from sqlmodel import Session

from service.domain import plausibility
from service.domain.fluid_ageing import AGEING_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.engine.ageing.temperature import duty_from_histogram, effective_celsius
from service.errors import InvalidInputError
from service.store.repositories import vehicle_search
from service.store.tables.vehicles import Compartment
from service.units import DAYS_PER_MONTH

OWN_LIVES: Final = {
    "life_km": ("life_km", 1.0),
    "life_months": ("life_days", DAYS_PER_MONTH),
    "life_hours": ("life_hours", 1.0),
}
"""What may be said of a compartment: the name of the parameter, and how many of its units one makes."""

MOST_TEMPERATURES: Final = 60
LATEST_READINGS: Final = 800
"""Enough to tell which meters of a vehicle are read."""

TEMPERATURES: Final = "/oil_temperatures"
UNMOVED: Final = "Temperature does not change how distance wears this kind of fluid; leave it out."


@dataclass(frozen=True, slots=True)
class WearByTemperature:
    """How much faster than at its kind's temperature a fluid wears per distance, and where it would steadily."""

    multiplier: float
    as_at_celsius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyWear:
    """A life that is shorter than the interval beside it, both in what the name of the life says."""

    name: str
    lasts: float
    interval: float


def own_ageing(kind: FluidKind, before: Mapping[str, float], facts: Mapping[str, Any]) -> dict[str, float]:
    """Put what `facts` says of life and temperatures over the parameters that a compartment has of its own.

    A life that is None goes back to the kind's; without temperatures the vehicle's duty counts again.

    Raises
    ------
    InvalidInputError
        If distance and temperature do not wear this kind, or the temperatures cannot be.
    """
    after = dict(before)
    for name, (parameter, a_unit) in OWN_LIVES.items():
        if name in facts:
            after.pop(parameter, None)
            if facts[name] is not None:
                after[parameter] = facts[name] * a_unit
    if "oil_temperatures" in facts:
        after.pop("duty_multiplier", None)
        if facts["oil_temperatures"]:
            if AGEING_DEFAULTS[kind].life_km is None and "life_km" not in after:
                raise InvalidInputError.at(TEMPERATURES, UNMOVED)
            after["duty_multiplier"] = wear_by_temperature(kind, facts["oil_temperatures"]).multiplier
    return after


def reads_hours(session: Session, organisation_id: int, vehicle_id: int) -> bool:
    """Whether running hours can wear a vehicle's fluids out: not where the odometer alone is read."""
    n_readings, n_with_hours = vehicle_search.count_read_meters(
        session, organisation_id, vehicle_id, LATEST_READINGS
    )
    return n_with_hours > 0 or n_readings == 0


def early_wear(compartment: Compartment, *, has_hours: bool) -> list[EarlyWear]:
    """Where a fluid is taken to be worn out before its maker's interval ends, which few will have meant.

    Running hours count where `reads_hours` says that they do.
    """
    usual = AGEING_DEFAULTS[FluidKind(compartment.kind)]
    lives = {
        "life_km": (usual.life_km, compartment.interval_km),
        "life_hours": (usual.life_hours, compartment.interval_hours),
    }
    found = []
    for name, (life, interval) in lives.items():
        lasts = compartment.ageing.get(name, None if life is None else life.value)
        counts = has_hours or name != "life_hours"
        if counts and lasts is not None and interval is not None and lasts < interval:
            found.append(EarlyWear(name=name, lasts=lasts, interval=interval))
    return found


def life_warnings(found: Sequence[EarlyWear]) -> list[str]:
    """Say the same to programs, by the names of their fields."""
    units = {"life_km": "km", "life_hours": "running hours"}
    return [
        f"Unless samples show otherwise this fluid is taken to be worn out after {one.lasts:,.0f} "
        f"{units[one.name]}, before its interval of {one.interval:,.0f} {units[one.name]} ends, and will be due by "
        f"its state. If it lasts longer, say so in {one.name}."
        for one in found
    ]


def own_lives(ageing: Mapping[str, float]) -> dict[str, float | None]:
    """Give a compartment's own lives back under the names by which they were told."""
    return {
        name: None if parameter not in ageing else ageing[parameter] / a_unit
        for name, (parameter, a_unit) in OWN_LIVES.items()
    }


def wear_by_temperature(kind: FluidKind, logged: Sequence[Mapping[str, float]]) -> WearByTemperature:
    """Weigh hours by temperature, each `{"celsius": …, "hours": …}`.

    Raises
    ------
    InvalidInputError
        If temperature is not modelled for the kind, no hour is logged, or the result is beyond any duty.
    """
    usual = AGEING_DEFAULTS[kind]
    if usual.reference_celsius is None or usual.activation_energy_kj_per_mol is None:
        raise InvalidInputError.at(TEMPERATURES, UNMOVED)
    model = {
        "reference_celsius": usual.reference_celsius.value,
        "activation_kj_per_mol": usual.activation_energy_kj_per_mol.value,
    }
    celsius, hours = (
        np.array([one[name] for one in logged], dtype=np.float64) for name in ("celsius", "hours")
    )
    if not hours.sum() > 0.0:
        raise InvalidInputError.at(TEMPERATURES, "At least one temperature needs its hours.")
    multiplier = float(duty_from_histogram(hours / hours.sum(), celsius, **model)[0])
    if not plausibility.DUTY_MULTIPLIER.hold(multiplier):
        raise InvalidInputError.at(
            TEMPERATURES,
            f"The fluid would wear {multiplier:.2g} times as fast as usual, which is no duty. "
            "Check that these are temperatures of the fluid itself, in degrees Celsius.",
        )
    return WearByTemperature(multiplier, float(effective_celsius(multiplier, **model)))
