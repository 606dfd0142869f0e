"""What one vehicle of each class is like in this demonstration: how it is used and what it holds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from seed_demo.habits import HABITS
from seed_demo.process import Habit
from seed_demo.records import DemoSeal
from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.vehicle_classes import VehicleClass


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentBlueprint:
    """A compartment as the invented maker describes it."""

    compartment: str
    kind: FluidKind
    fluid: str
    total_litres: float
    drainable_litres: float
    interval_km: float | None
    interval_months: int
    interval_hours: float | None
    n_rounds: int = 1
    has_fluid_counter: bool = False
    ageing: Mapping[str, float] = field(default_factory=dict)
    seals: tuple[DemoSeal, ...] = (DemoSeal(part="drain plug washer", pieces=1),)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassBlueprint:
    """How many vehicles of a class there are, under which letters, and what they are like."""

    prefix: str
    n_vehicles: int
    habit: Habit
    duties: tuple[Duty, ...]
    """Taken in turn."""
    source: str
    compartments: tuple[CompartmentBlueprint, ...]


_PAN_GASKET: Final = (
    DemoSeal(part="drain plug washer", pieces=1),
    DemoSeal(part="overflow plug washer", pieces=1),
)
_BRAKES: Final = CompartmentBlueprint(
    compartment="brakes",
    kind=FluidKind.BRAKE_FLUID,
    fluid="DEMO-BRAKE-4",
    total_litres=1.0,
    drainable_litres=0.85,
    interval_km=150_000,
    interval_months=24,
    interval_hours=None,
    seals=(),
)
_COOLANT: Final = CompartmentBlueprint(
    compartment="coolant",
    kind=FluidKind.COOLANT_OAT,
    fluid="DEMO-COOLANT-50",
    total_litres=40.0,
    drainable_litres=26.0,
    interval_km=100_000,
    interval_months=24,
    interval_hours=None,
    n_rounds=2,
    seals=(DemoSeal(part="drain tap ring", pieces=1),),
)


def _gearbox(litres: float, drainable: float, km: float, months: int) -> CompartmentBlueprint:
    return CompartmentBlueprint(
        compartment="gearbox",
        kind=FluidKind.AUTOMATIC_TRANSMISSION_CAR,
        fluid="DEMO-ATF-RED",
        total_litres=litres,
        drainable_litres=drainable,
        interval_km=km,
        interval_months=months,
        interval_hours=None,
        n_rounds=3,
        has_fluid_counter=True,
        seals=_PAN_GASKET,
    )


def _heavy_gearbox(litres: float, drainable: float, km: float, months: int) -> CompartmentBlueprint:
    return CompartmentBlueprint(
        compartment="gearbox",
        kind=FluidKind.AUTOMATIC_TRANSMISSION_HEAVY,
        fluid="DEMO-ATF-HEAVY",
        total_litres=litres,
        drainable_litres=drainable,
        interval_km=km,
        interval_months=months,
        interval_hours=2000,
        has_fluid_counter=True,
        seals=_PAN_GASKET,
    )


def _heavy_engine(litres: float, drainable: float, km: float, hours: float) -> CompartmentBlueprint:
    return CompartmentBlueprint(
        compartment="engine",
        kind=FluidKind.ENGINE_OIL_DIESEL_HEAVY,
        fluid="DEMO-ENGINE-HEAVY",
        total_litres=litres,
        drainable_litres=drainable,
        interval_km=km,
        interval_months=12,
        interval_hours=hours,
    )


_CAR_ENGINE: Final = CompartmentBlueprint(
    compartment="engine",
    kind=FluidKind.ENGINE_OIL_PETROL,
    fluid="DEMO-ENGINE-PETROL",
    total_litres=4.8,
    drainable_litres=4.4,
    interval_km=15_000,
    interval_months=12,
    interval_hours=500,
    ageing={"life_km": 30_000.0, "life_days": 1461.0},
)
_VAN_ENGINE: Final = CompartmentBlueprint(
    compartment="engine",
    kind=FluidKind.ENGINE_OIL_DIESEL_LIGHT,
    fluid="DEMO-ENGINE-DIESEL",
    total_litres=7.5,
    drainable_litres=6.9,
    interval_km=20_000,
    interval_months=12,
    interval_hours=700,
    ageing={"life_km": 60_000.0, "life_days": 1461.0},
)
_REAR_AXLE: Final = CompartmentBlueprint(
    compartment="rear axle",
    kind=FluidKind.AXLE,
    fluid="DEMO-AXLE-90",
    total_litres=16.0,
    drainable_litres=14.8,
    interval_km=60_000,
    interval_months=24,
    interval_hours=None,
)
_TRACTOR_TRANSMISSION: Final = CompartmentBlueprint(
    compartment="transmission",
    kind=FluidKind.TRACTOR_TRANSMISSION,
    fluid="DEMO-TRACTOR",
    total_litres=45.0,
    drainable_litres=38.0,
    interval_km=None,
    interval_months=24,
    interval_hours=400,
)
_HYDRAULICS: Final = CompartmentBlueprint(
    compartment="hydraulics",
    kind=FluidKind.HYDRAULIC,
    fluid="DEMO-HYDRAULIC-46",
    total_litres=80.0,
    drainable_litres=68.0,
    interval_km=None,
    interval_months=24,
    interval_hours=750,
)

BLUEPRINTS: Final[Mapping[VehicleClass, ClassBlueprint]] = MappingProxyType(
    {
        VehicleClass.CAR: ClassBlueprint(
            prefix="CAR",
            n_vehicles=12,
            duties=(Duty.NORMAL, Duty.NORMAL, Duty.MIXED),
            source="driver",
            habit=HABITS[VehicleClass.CAR],
            compartments=(_gearbox(8.2, 3.7, 60_000, 48), _CAR_ENGINE, _BRAKES),
        ),
        VehicleClass.VAN: ClassBlueprint(
            prefix="VAN",
            n_vehicles=16,
            duties=(Duty.MIXED, Duty.MIXED, Duty.MIXED, Duty.SEVERE),
            source="fuel card",
            habit=HABITS[VehicleClass.VAN],
            compartments=(_gearbox(9.8, 4.4, 40_000, 48), _VAN_ENGINE, _BRAKES),
        ),
        VehicleClass.TRUCK: ClassBlueprint(
            prefix="TRK",
            n_vehicles=14,
            duties=(Duty.NORMAL,),
            source="fuel card",
            habit=HABITS[VehicleClass.TRUCK],
            compartments=(
                _heavy_gearbox(36.0, 29.0, 45_000, 24),
                _heavy_engine(32.0, 29.8, 25_000, 700),
                _REAR_AXLE,
                _COOLANT,
            ),
        ),
        VehicleClass.BUS: ClassBlueprint(
            prefix="BUS",
            n_vehicles=8,
            duties=(Duty.MIXED, Duty.CITY_BUS_OR_RETARDER),
            source="telematics",
            habit=HABITS[VehicleClass.BUS],
            compartments=(
                _heavy_gearbox(28.0, 22.4, 30_000, 12),
                _heavy_engine(28.0, 26.0, 12_000, 900),
                _COOLANT,
            ),
        ),
        VehicleClass.TRACTOR: ClassBlueprint(
            prefix="TRA",
            n_vehicles=6,
            duties=(Duty.MIXED,),
            source="workshop",
            habit=HABITS[VehicleClass.TRACTOR],
            compartments=(_TRACTOR_TRANSMISSION, _heavy_engine(14.0, 13.0, 20_000, 200)),
        ),
        VehicleClass.OTHER_MACHINE: ClassBlueprint(
            prefix="MCH",
            n_vehicles=4,
            duties=(Duty.MIXED,),
            source="workshop",
            habit=HABITS[VehicleClass.OTHER_MACHINE],
            compartments=(_HYDRAULICS, _heavy_engine(14.0, 13.0, 20_000, 200)),
        ),
    }
)
