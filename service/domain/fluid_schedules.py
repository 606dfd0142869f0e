"""The hard schedule of each fluid kind when the maker's is not known: the first limit reached counts."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Sourced, derived, memory, practice, published
from service.domain.vehicle_classes import VehicleClass

_ARMY_TRUCK: Final = "US Army TM 9-2320-272-23-2, five-ton truck"
_ARMY_AXLE: Final = "US Army LO 9-2320-363-12: 75,000 miles or yearly, first at 5,000 miles"
_CITY_BUS: Final = (
    "Zakarian and others, SAE 2003-01-1985, abstract: 80,000 km was said to be four of the maker's intervals"
)
_COOLANT_ARTICLES: Final = "Middle of the 20,000 to 30,000 miles in trade articles on coolant"


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Distance, months and engine hours after which the fluid is due; None where that limit is not used."""

    km: Sourced | None
    months: Sourced | None
    hours: Sourced | None = None


SCHEDULES: Final[Mapping[FluidKind, Schedule]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: Schedule(
            km=practice(100_000, 60_000, 160_000), months=practice(96, 48, 120)
        ),
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: Schedule(
            km=published(38_000, _ARMY_TRUCK),
            months=published(24, _ARMY_TRUCK),
            hours=memory(2000, 1000, 2000),
        ),
        FluidKind.CVT: Schedule(km=practice(60_000, 40_000, 100_000), months=practice(60, 48, 72)),
        FluidKind.DUAL_CLUTCH: Schedule(km=practice(60_000, 60_000, 120_000), months=practice(60, 48, 72)),
        FluidKind.MANUAL_GEARBOX: Schedule(
            km=practice(100_000, 60_000, 160_000), months=practice(72, 48, 96)
        ),
        FluidKind.AXLE: Schedule(km=practice(80_000, 50_000, 120_000), months=practice(72, 48, 96)),
        FluidKind.ENGINE_OIL_PETROL: Schedule(
            km=practice(12_000, 5_000, 30_000), months=practice(12, 12, 24), hours=practice(250, 200, 250)
        ),
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: Schedule(
            km=practice(20_000, 10_000, 30_000), months=practice(12, 12, 24), hours=practice(400, 250, 500)
        ),
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: Schedule(
            km=practice(50_000, 30_000, 100_000), months=practice(12), hours=practice(400, 250, 500)
        ),
        FluidKind.COOLANT_TRADITIONAL: Schedule(
            km=derived(40_000, _COOLANT_ARTICLES, 32_000, 48_000),
            months=published(24, "Trade articles on coolant"),
        ),
        FluidKind.COOLANT_OAT: Schedule(km=practice(250_000), months=practice(60, 60, 96)),
        FluidKind.BRAKE_FLUID: Schedule(km=practice(40_000), months=practice(24, 12, 36)),
        FluidKind.HYDRAULIC: Schedule(km=None, months=practice(24, 12, 24), hours=practice(1500, 1000, 2000)),
        FluidKind.TRACTOR_TRANSMISSION: Schedule(
            km=None, months=practice(24, 12, 24), hours=practice(1200, 1000, 1500)
        ),
        FluidKind.POWER_STEERING: Schedule(km=practice(80_000), months=practice(48)),
    }
)

_BY_CLASS: Final[Mapping[tuple[FluidKind, VehicleClass], Schedule]] = MappingProxyType(
    {
        (FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, VehicleClass.BUS): Schedule(
            km=derived(20_000, _CITY_BUS, 20_000, 80_000), months=practice(12), hours=memory(1000, 1000, 2000)
        ),
        (FluidKind.AXLE, VehicleClass.TRUCK): Schedule(
            km=published(121_000, _ARMY_AXLE), months=published(12, _ARMY_AXLE)
        ),
        (FluidKind.AXLE, VehicleClass.BUS): Schedule(
            km=published(121_000, _ARMY_AXLE), months=published(12, _ARMY_AXLE)
        ),
        (FluidKind.AXLE, VehicleClass.TRACTOR): Schedule(
            km=None, months=practice(24, 12, 24), hours=practice(1200, 1000, 1500)
        ),
    }
)


def schedule_for(kind: FluidKind, vehicle_class: VehicleClass) -> Schedule:
    """Return the schedule of a fluid kind in a class of vehicles."""
    return _BY_CLASS.get((kind, vehicle_class), SCHEDULES[kind])
