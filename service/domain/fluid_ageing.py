"""How fast each fluid kind uses up its life, and what is tracked in it.

Life used is 0 when new and 1 at the condemning limit. A fluid lasts `life_km` at duty 1, or `life_days`
standing still, or `life_hours` of running, and the shares add up. All numbers are engineering judgement
unless their own source says otherwise; each can be changed for a fleet and fitted from its samples.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Sourced, practice
from service.units import DAYS_PER_YEAR


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeingDefaults:
    """The ageing model of one fluid kind."""

    life_km: Sourced | None
    life_days: Sourced
    life_hours: Sourced | None
    life_coefficient_of_variation: Sourced
    """Spread of true life between vehicles of one kind, as a share of the mean."""
    planning_reserve_fraction: Sourced
    """Due by condition when no more than this share of life remains."""
    reference_celsius: Sourced | None
    """Bulk temperature at which `life_km` holds; None where temperature is not modelled."""
    activation_energy_kj_per_mol: Sourced | None
    iron_mg_per_kg_per_1000km: Sourced | None = None


def _years(value: float, low: float | None = None, high: float | None = None) -> Sourced:
    return practice(
        value * DAYS_PER_YEAR,
        None if low is None else low * DAYS_PER_YEAR,
        None if high is None else high * DAYS_PER_YEAR,
    )


_GEARS: Final = AgeingDefaults(
    life_km=practice(100_000, 50_000, 250_000),
    life_days=_years(8),
    life_hours=practice(1500),
    life_coefficient_of_variation=practice(0.35),
    planning_reserve_fraction=practice(0.15),
    reference_celsius=practice(80),
    activation_energy_kj_per_mol=practice(80, 60, 100),
    iron_mg_per_kg_per_1000km=practice(2.0),
)

_CLUTCH_PACKS: Final = AgeingDefaults(
    life_km=practice(70_000, 40_000, 120_000),
    life_days=_years(8),
    life_hours=None,
    life_coefficient_of_variation=practice(0.40),
    planning_reserve_fraction=practice(0.25),
    reference_celsius=practice(90),
    activation_energy_kj_per_mol=practice(80, 60, 100),
)


def _engine(km: Sourced, hours: float) -> AgeingDefaults:
    return AgeingDefaults(
        life_km=km,
        life_days=_years(1.5),
        life_hours=practice(hours),
        life_coefficient_of_variation=practice(0.30),
        planning_reserve_fraction=practice(0.15),
        reference_celsius=practice(100),
        activation_energy_kj_per_mol=practice(80, 60, 100),
    )


def _coolant(km: float, years: float, hours: float) -> AgeingDefaults:
    return AgeingDefaults(
        life_km=practice(km),
        life_days=_years(years),
        life_hours=practice(hours),
        life_coefficient_of_variation=practice(0.30),
        planning_reserve_fraction=practice(0.20),
        reference_celsius=practice(90),
        activation_energy_kj_per_mol=practice(60),
    )


def _hydraulics(hours: Sourced, reference_celsius: float) -> AgeingDefaults:
    return AgeingDefaults(
        life_km=None,
        life_days=_years(3),
        life_hours=hours,
        life_coefficient_of_variation=practice(0.40),
        planning_reserve_fraction=practice(0.20),
        reference_celsius=practice(reference_celsius),
        activation_energy_kj_per_mol=practice(80, 60, 100),
    )


AGEING_DEFAULTS: Final[Mapping[FluidKind, AgeingDefaults]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: AgeingDefaults(
            life_km=practice(100_000, 60_000, 160_000),
            life_days=_years(10),
            life_hours=None,
            life_coefficient_of_variation=practice(0.40),
            planning_reserve_fraction=practice(0.20),
            reference_celsius=practice(85),
            activation_energy_kj_per_mol=practice(80, 60, 100),
            iron_mg_per_kg_per_1000km=practice(0.5),
        ),
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: AgeingDefaults(
            life_km=practice(80_000, 20_000, 160_000),
            life_days=_years(4),
            life_hours=practice(2000),
            life_coefficient_of_variation=practice(0.40),
            planning_reserve_fraction=practice(0.25),
            reference_celsius=practice(90),
            activation_energy_kj_per_mol=practice(80, 60, 100),
        ),
        FluidKind.CVT: _CLUTCH_PACKS,
        FluidKind.DUAL_CLUTCH: _CLUTCH_PACKS,
        FluidKind.MANUAL_GEARBOX: _GEARS,
        FluidKind.AXLE: _GEARS,
        FluidKind.ENGINE_OIL_PETROL: _engine(practice(12_000, 8_000, 30_000), 250),
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: _engine(practice(20_000, 10_000, 40_000), 400),
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: _engine(practice(50_000, 25_000, 100_000), 400),
        FluidKind.COOLANT_TRADITIONAL: _coolant(50_000, 2, 3000),
        FluidKind.COOLANT_OAT: _coolant(250_000, 5, 6000),
        FluidKind.BRAKE_FLUID: AgeingDefaults(
            life_km=None,
            life_days=_years(3, 1.5, 4),
            life_hours=None,
            life_coefficient_of_variation=practice(0.40),
            planning_reserve_fraction=practice(0.15),
            reference_celsius=None,
            activation_energy_kj_per_mol=None,
        ),
        FluidKind.HYDRAULIC: _hydraulics(practice(1500, 1000, 4000), 60),
        FluidKind.TRACTOR_TRANSMISSION: _hydraulics(practice(1200), 70),
        FluidKind.POWER_STEERING: AgeingDefaults(
            life_km=practice(100_000),
            life_days=_years(6),
            life_hours=None,
            life_coefficient_of_variation=practice(0.40),
            planning_reserve_fraction=practice(0.20),
            reference_celsius=practice(80),
            activation_energy_kj_per_mol=practice(80, 60, 100),
        ),
    }
)
