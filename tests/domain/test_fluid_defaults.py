"""Defaults of fluid kinds: complete, consistent, and honest about where they come from."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

import pytest

from service.domain.duties import DUTY_DEFAULTS, Duty
from service.domain.fluid_contamination import CONTAMINATION_DEFAULTS
from service.domain.fluid_defaults import defaults_for
from service.domain.fluid_kinds import (
    AUTOMATIC_KINDS,
    COOLANT_KINDS,
    ENGINE_OIL_KINDS,
    KIND_LABELS,
    OIL_KINDS,
    RED_DYED_KINDS,
    FluidKind,
)
from service.domain.fluid_volumes import TOTAL_VOLUME_LITRES
from service.domain.plausibility import COMPARTMENT_LITRES, INTERVAL_HOURS, INTERVAL_KM, INTERVAL_MONTHS
from service.domain.sourced import NO_SOURCE, NOT_VERIFIED, Flag, Sourced, SourcedRange
from service.domain.stock_defaults import OPENED_SHELF_LIFE_MONTHS, SEALED_SHELF_LIFE_MONTHS
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.errors import InvalidInputError

EVERY_PAIR = [(kind, vehicle_class) for kind in FluidKind for vehicle_class in VehicleClass]


def _sourced_values(thing: object) -> Iterator[Sourced | SourcedRange]:
    if isinstance(thing, Sourced | SourcedRange):
        yield thing
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from _sourced_values(getattr(thing, field.name))


@pytest.mark.parametrize(("kind", "vehicle_class"), EVERY_PAIR)
def test_every_kind_has_defaults_in_every_class(kind: FluidKind, vehicle_class: VehicleClass) -> None:
    defaults = defaults_for(kind, vehicle_class)
    assert defaults.label == KIND_LABELS[kind]
    assert COMPARTMENT_LITRES.hold(defaults.total_volume_litres.value)
    assert 0 < defaults.drainable_litres < defaults.total_volume_litres.value
    assert defaults.exchange.drainable_fraction.standard_deviation is not None
    schedule = defaults.schedule
    assert schedule.km is not None or schedule.hours is not None
    assert schedule.months is not None
    for value, bounds in (
        (schedule.km, INTERVAL_KM),
        (schedule.months, INTERVAL_MONTHS),
        (schedule.hours, INTERVAL_HOURS),
    ):
        assert value is None or bounds.hold(value.value)


@pytest.mark.parametrize(("kind", "vehicle_class"), EVERY_PAIR)
def test_every_value_names_its_source_as_its_flag_demands(
    kind: FluidKind, vehicle_class: VehicleClass
) -> None:
    values = list(_sourced_values(defaults_for(kind, vehicle_class)))
    assert len(values) > 8
    for value in values:
        if value.flag in {Flag.PUBLISHED, Flag.DERIVED}:
            assert value.source not in {NO_SOURCE, NOT_VERIFIED}
        if value.flag is Flag.FROM_MEMORY:
            assert value.source == NOT_VERIFIED


# Engineering judgement (common practice, no source): life in km, years, hours, reference °C, activation energy,
# drainable share and its deviation, spread of life, planning reserve.
@pytest.mark.parametrize(
    ("kind", "km", "years", "hours", "celsius", "energy", "drainable", "sd", "spread", "reserve"),
    [
        (FluidKind.AUTOMATIC_TRANSMISSION_CAR, 100_000, 10, None, 85, 80, 0.45, 0.10, 0.40, 0.20),
        (FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, 80_000, 4, 2000, 90, 80, 0.80, 0.05, 0.40, 0.25),
        (FluidKind.CVT, 70_000, 8, None, 90, 80, 0.60, 0.15, 0.40, 0.25),
        (FluidKind.DUAL_CLUTCH, 70_000, 8, None, 90, 80, 0.60, 0.15, 0.40, 0.25),
        (FluidKind.MANUAL_GEARBOX, 100_000, 8, 1500, 80, 80, 0.92, 0.04, 0.35, 0.15),
        (FluidKind.AXLE, 100_000, 8, 1500, 80, 80, 0.92, 0.04, 0.35, 0.15),
        (FluidKind.ENGINE_OIL_PETROL, 12_000, 1.5, 250, 100, 80, 0.92, 0.03, 0.30, 0.15),
        (FluidKind.ENGINE_OIL_DIESEL_HEAVY, 50_000, 1.5, 400, 100, 80, 0.93, 0.03, 0.30, 0.15),
        (FluidKind.COOLANT_TRADITIONAL, 50_000, 2, 3000, 90, 60, 0.60, 0.15, 0.30, 0.20),
        (FluidKind.COOLANT_OAT, 250_000, 5, 6000, 90, 60, 0.60, 0.15, 0.30, 0.20),
        (FluidKind.BRAKE_FLUID, None, 3, None, None, None, 0.85, 0.08, 0.40, 0.15),
        (FluidKind.HYDRAULIC, None, 3, 1500, 60, 80, 0.85, 0.08, 0.40, 0.20),
        (FluidKind.TRACTOR_TRANSMISSION, None, 3, 1200, 70, 80, 0.85, 0.08, 0.40, 0.20),
        (FluidKind.POWER_STEERING, 100_000, 6, None, 80, 80, 0.35, 0.10, 0.40, 0.20),
    ],
)
def test_the_ageing_table(
    kind: FluidKind,
    km: float | None,
    years: float,
    hours: float | None,
    celsius: float | None,
    energy: float | None,
    drainable: float,
    sd: float,
    spread: float,
    reserve: float,
) -> None:
    defaults = defaults_for(kind, VehicleClass.CAR)
    ageing, share = defaults.ageing, defaults.exchange.drainable_fraction
    assert _value(ageing.life_km) == km
    assert ageing.life_days.value == pytest.approx(years * 365.25)
    assert _value(ageing.life_hours) == hours
    assert _value(ageing.reference_celsius) == celsius
    assert _value(ageing.activation_energy_kj_per_mol) == energy
    assert (share.value, share.standard_deviation) == (drainable, sd)
    assert ageing.life_coefficient_of_variation.value == spread
    assert ageing.planning_reserve_fraction.value == reserve


def test_water_limits() -> None:
    # 0.2 percent: operator's manual of a heavy automatic (published); brakes 3 and 4 percent: common practice.
    assert _value(CONTAMINATION_DEFAULTS[FluidKind.AUTOMATIC_TRANSMISSION_CAR].water_reject_fraction) == 0.002
    assert _value(CONTAMINATION_DEFAULTS[FluidKind.TRACTOR_TRANSMISSION].water_reject_fraction) == 0.002
    brake = CONTAMINATION_DEFAULTS[FluidKind.BRAKE_FLUID]
    assert (_value(brake.water_caution_fraction), _value(brake.water_reject_fraction)) == (0.03, 0.04)
    assert _value(brake.water_saturation_fraction) == 0.05


def test_groups_of_kinds() -> None:
    assert OIL_KINDS.isdisjoint(COOLANT_KINDS)
    assert FluidKind.BRAKE_FLUID not in OIL_KINDS
    assert AUTOMATIC_KINDS | ENGINE_OIL_KINDS | RED_DYED_KINDS <= OIL_KINDS


# Volumes of the ranges of the trade, in litres.
@pytest.mark.parametrize(
    ("kind", "vehicle_class", "low", "high"),
    [
        (FluidKind.AUTOMATIC_TRANSMISSION_CAR, VehicleClass.CAR, 6.6, 13),
        (FluidKind.AUTOMATIC_TRANSMISSION_CAR, VehicleClass.VAN, 8, 14),
        (FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, VehicleClass.BUS, 20, 50),
        (FluidKind.ENGINE_OIL_PETROL, VehicleClass.CAR, 3.5, 6.5),
        (FluidKind.ENGINE_OIL_DIESEL_HEAVY, VehicleClass.TRUCK, 25, 45),
        (FluidKind.ENGINE_OIL_DIESEL_HEAVY, VehicleClass.BUS, 20, 40),
        (FluidKind.COOLANT_OAT, VehicleClass.TRUCK, 25, 60),
        (FluidKind.BRAKE_FLUID, VehicleClass.CAR, 0.5, 1.2),
        (FluidKind.TRACTOR_TRANSMISSION, VehicleClass.TRACTOR, 20, 80),
    ],
)
def test_volume_ranges(kind: FluidKind, vehicle_class: VehicleClass, low: float, high: float) -> None:
    volume = TOTAL_VOLUME_LITRES[kind][vehicle_class]
    assert (volume.low, volume.high) == (low, high)


def test_an_unusual_pair_borrows_from_the_class_most_like_it() -> None:
    cvt_van = defaults_for(FluidKind.CVT, VehicleClass.VAN).total_volume_litres
    assert cvt_van == TOTAL_VOLUME_LITRES[FluidKind.CVT][VehicleClass.CAR]
    machine = defaults_for(FluidKind.TRACTOR_TRANSMISSION, VehicleClass.OTHER_MACHINE).total_volume_litres
    assert machine == TOTAL_VOLUME_LITRES[FluidKind.TRACTOR_TRANSMISSION][VehicleClass.TRACTOR]


# The trade's rule of halving gives 2 for severe; the others are common practice, no source.
def test_duty_multipliers() -> None:
    multipliers = {duty: DUTY_DEFAULTS[duty].rate_multiplier.value for duty in Duty}
    assert multipliers == {
        Duty.NORMAL: 1.0,
        Duty.MIXED: 1.3,
        Duty.SEVERE: 2.0,
        Duty.CITY_BUS_OR_RETARDER: 3.5,
    }


def test_classes_and_shelf_lives_are_complete() -> None:
    assert set(CLASS_DEFAULTS) == set(VehicleClass)
    # Five years sealed for lubricants: a blender's page (published).
    assert SEALED_SHELF_LIFE_MONTHS[FluidKind.ENGINE_OIL_PETROL].value == 60
    for kind in FluidKind:
        assert OPENED_SHELF_LIFE_MONTHS[kind].value < SEALED_SHELF_LIFE_MONTHS[kind].value


def test_a_default_outside_its_own_range_or_without_source_is_refused() -> None:
    with pytest.raises(InvalidInputError):
        Sourced(value=2, low=3, flag=Flag.PUBLISHED, source="x")
    with pytest.raises(InvalidInputError):
        Sourced(value=2, flag=Flag.PUBLISHED, source="")
    with pytest.raises(InvalidInputError):
        SourcedRange(low=3, high=3, flag=Flag.PUBLISHED, source="x")


def test_a_window_holds_its_ends() -> None:
    window = SourcedRange(low=35, high=45, flag=Flag.PUBLISHED, source="x")
    assert [window.holds(celsius) for celsius in (34.9, 35, 45, 45.1)] == [False, True, True, False]


def _value(sourced: Sourced | None) -> float | None:
    return None if sourced is None else sourced.value
