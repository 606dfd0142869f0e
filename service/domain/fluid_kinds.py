"""The kinds of fluid a compartment can hold."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class FluidKind(StrEnum):
    """What a compartment holds, as far as ageing, exchange and waste care."""

    AUTOMATIC_TRANSMISSION_CAR = "automatic_transmission_car"
    AUTOMATIC_TRANSMISSION_HEAVY = "automatic_transmission_heavy"
    CVT = "cvt"
    DUAL_CLUTCH = "dual_clutch"
    MANUAL_GEARBOX = "manual_gearbox"
    AXLE = "axle"
    ENGINE_OIL_PETROL = "engine_oil_petrol"
    ENGINE_OIL_DIESEL_LIGHT = "engine_oil_diesel_light"
    ENGINE_OIL_DIESEL_HEAVY = "engine_oil_diesel_heavy"
    COOLANT_TRADITIONAL = "coolant_traditional"
    COOLANT_OAT = "coolant_oat"
    BRAKE_FLUID = "brake_fluid"
    HYDRAULIC = "hydraulic"
    TRACTOR_TRANSMISSION = "tractor_transmission"
    POWER_STEERING = "power_steering"


KIND_LABELS: Final[Mapping[FluidKind, str]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: "Automatic transmission (car, van)",
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: "Automatic transmission (truck, bus)",
        FluidKind.CVT: "Continuously variable transmission",
        FluidKind.DUAL_CLUTCH: "Dual-clutch transmission, wet",
        FluidKind.MANUAL_GEARBOX: "Manual gearbox",
        FluidKind.AXLE: "Axle and final drive",
        FluidKind.ENGINE_OIL_PETROL: "Engine oil, petrol",
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: "Engine oil, diesel (car, van)",
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: "Engine oil, diesel (truck, bus, machine)",
        FluidKind.COOLANT_TRADITIONAL: "Coolant, traditional inhibitors",
        FluidKind.COOLANT_OAT: "Coolant, organic acid inhibitors",
        FluidKind.BRAKE_FLUID: "Brake fluid",
        FluidKind.HYDRAULIC: "Hydraulic oil",
        FluidKind.TRACTOR_TRANSMISSION: "Tractor transmission and hydraulics (UTTO)",
        FluidKind.POWER_STEERING: "Power steering",
    }
)

AUTOMATIC_KINDS: Final = frozenset(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR,
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY,
        FluidKind.CVT,
        FluidKind.DUAL_CLUTCH,
    }
)
"""Units whose clutches live in the fluid: the wrong fluid or water ruins them."""

ENGINE_OIL_KINDS: Final = frozenset(
    {
        FluidKind.ENGINE_OIL_PETROL,
        FluidKind.ENGINE_OIL_DIESEL_LIGHT,
        FluidKind.ENGINE_OIL_DIESEL_HEAVY,
    }
)

GEAR_OIL_KINDS: Final = frozenset({FluidKind.MANUAL_GEARBOX, FluidKind.AXLE})

COOLANT_KINDS: Final = frozenset({FluidKind.COOLANT_TRADITIONAL, FluidKind.COOLANT_OAT})

OIL_KINDS: Final = frozenset(FluidKind) - COOLANT_KINDS - {FluidKind.BRAKE_FLUID}
"""Everything that is an oil: water and coolant in it are contamination."""

RED_DYED_KINDS: Final = frozenset(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR,
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY,
        FluidKind.POWER_STEERING,
    }
)
"""Kinds whose fluid is usually sold dyed red; the colour of any other kind says nothing about its life."""
