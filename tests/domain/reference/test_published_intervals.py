"""Intervals and volumes of US Army TM 9-2320-272-23-2 and LO 9-2320-363-12, SAE 2003-01-1985 and trade articles.

Published; the conversions to kilometres and litres are derived.
"""

import pytest

from service.domain.fluid_defaults import FluidDefaults, defaults_for
from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Flag
from service.domain.vehicle_classes import VehicleClass
from service.units import KM_PER_MILE, LITRES_PER_US_QUART


def _values(defaults: FluidDefaults) -> tuple[float | None, float | None]:
    schedule = defaults.schedule
    return (
        None if schedule.km is None else schedule.km.value,
        None if schedule.months is None else schedule.months.value,
    )


def test_truck_transmission_of_us_army_tm_9_2320_272() -> None:
    defaults = defaults_for(FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, VehicleClass.TRUCK)
    assert _values(defaults) == (38_000, 24)
    assert defaults.schedule.km is not None
    assert defaults.schedule.km.flag is Flag.PUBLISHED


def test_bus_transmission_derived_from_sae_2003_01_1985() -> None:
    # 80,000 km was said to be four times the maker's interval.
    defaults = defaults_for(FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, VehicleClass.BUS)
    assert _values(defaults) == (80_000 / 4, 12)


def test_truck_axle_of_us_army_lo_9_2320_363() -> None:
    # 75,000 miles or a year; 13 to 23 quarts an axle.
    defaults = defaults_for(FluidKind.AXLE, VehicleClass.TRUCK)
    km, months = _values(defaults)
    assert km == pytest.approx(75_000 * KM_PER_MILE, rel=0.005)
    assert months == 12
    volume = defaults.total_volume_litres
    assert volume.low == pytest.approx(13 * LITRES_PER_US_QUART, abs=0.05)
    assert volume.high == pytest.approx(23 * LITRES_PER_US_QUART, abs=0.05)


def test_traditional_coolant_of_trade_articles() -> None:
    # 20,000 to 30,000 miles, two years.
    schedule = defaults_for(FluidKind.COOLANT_TRADITIONAL, VehicleClass.TRUCK).schedule
    assert schedule.km is not None
    assert schedule.months is not None
    assert schedule.km.low == pytest.approx(20_000 * KM_PER_MILE, rel=0.01)
    assert schedule.km.high == pytest.approx(30_000 * KM_PER_MILE, rel=0.01)
    assert schedule.months.value == 24


def test_level_windows_of_makers_manuals() -> None:
    overflow = defaults_for(
        FluidKind.AUTOMATIC_TRANSMISSION_CAR, VehicleClass.CAR
    ).exchange.level_window_celsius
    heavy = defaults_for(
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, VehicleClass.BUS
    ).exchange.level_window_celsius
    assert overflow is not None
    assert heavy is not None
    assert (overflow.low, overflow.high) == (35, 45)
    assert (heavy.low, heavy.high) == (71, 93)
