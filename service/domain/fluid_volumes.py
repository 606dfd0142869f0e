"""How many litres a compartment usually holds, by kind and class; the maker's figure replaces these."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Sourced, derived, memory, practice
from service.domain.vehicle_classes import VehicleClass

_CAR, _VAN, _TRUCK = VehicleClass.CAR, VehicleClass.VAN, VehicleClass.TRUCK
_BUS, _TRACTOR, _MACHINE = VehicleClass.BUS, VehicleClass.TRACTOR, VehicleClass.OTHER_MACHINE

_TANDEM_AXLE: Final = "Inside US Army LO 9-2320-363-12: 13 to 23 US quarts each axle, converted"

TOTAL_VOLUME_LITRES: Final[Mapping[FluidKind, Mapping[VehicleClass, Sourced]]] = MappingProxyType(
    {
        FluidKind.AUTOMATIC_TRANSMISSION_CAR: {
            _CAR: practice(9.0, 6.6, 13.0),
            _VAN: practice(10.0, 8.0, 14.0),
        },
        FluidKind.AUTOMATIC_TRANSMISSION_HEAVY: {
            _TRUCK: memory(30.0, 20.0, 50.0),
            _BUS: memory(30.0, 20.0, 50.0),
        },
        FluidKind.CVT: {_CAR: practice(7.5, 6.0, 10.0)},
        FluidKind.DUAL_CLUTCH: {_CAR: practice(6.5, 5.0, 8.0)},
        FluidKind.MANUAL_GEARBOX: {
            _CAR: practice(2.2, 1.6, 2.8),
            _VAN: practice(2.6, 2.0, 3.5),
            _TRUCK: practice(12.0, 9.0, 16.0),
            _BUS: practice(11.0, 8.0, 14.0),
        },
        FluidKind.AXLE: {
            _CAR: practice(1.1, 0.7, 1.5),
            _VAN: practice(2.3, 1.5, 3.5),
            _TRUCK: derived(16.0, _TANDEM_AXLE, 12.3, 21.8),
            _BUS: practice(16.0, 12.0, 22.0),
            _TRACTOR: practice(7.0, 4.0, 12.0),
        },
        FluidKind.ENGINE_OIL_PETROL: {
            _CAR: practice(4.8, 3.5, 6.5),
            _VAN: practice(6.5, 5.0, 8.0),
        },
        FluidKind.ENGINE_OIL_DIESEL_LIGHT: {
            _CAR: practice(5.2, 4.0, 6.5),
            _VAN: practice(7.5, 6.0, 10.0),
        },
        FluidKind.ENGINE_OIL_DIESEL_HEAVY: {
            _TRUCK: practice(35.0, 25.0, 45.0),
            _BUS: practice(28.0, 20.0, 40.0),
            _TRACTOR: practice(14.0, 4.5, 25.0),
            _MACHINE: practice(14.0, 4.5, 40.0),
        },
        FluidKind.COOLANT_TRADITIONAL: {
            _CAR: practice(7.0, 5.0, 9.0),
            _VAN: practice(10.0, 7.0, 14.0),
            _TRUCK: practice(40.0, 25.0, 60.0),
            _BUS: practice(45.0, 25.0, 70.0),
            _TRACTOR: practice(20.0, 8.0, 30.0),
        },
        FluidKind.COOLANT_OAT: {
            _CAR: practice(7.0, 5.0, 9.0),
            _VAN: practice(10.0, 7.0, 14.0),
            _TRUCK: practice(40.0, 25.0, 60.0),
            _BUS: practice(45.0, 25.0, 70.0),
            _TRACTOR: practice(20.0, 8.0, 30.0),
        },
        FluidKind.BRAKE_FLUID: {
            _CAR: practice(0.8, 0.5, 1.2),
            _VAN: practice(1.0, 0.6, 1.5),
            _TRUCK: practice(1.2, 0.5, 2.0),
        },
        FluidKind.HYDRAULIC: {
            _TRACTOR: practice(40.0, 20.0, 80.0),
            _MACHINE: practice(80.0, 15.0, 300.0),
            _TRUCK: practice(90.0, 30.0, 200.0),
            _VAN: practice(8.0, 3.0, 20.0),
        },
        FluidKind.TRACTOR_TRANSMISSION: {_TRACTOR: practice(45.0, 20.0, 80.0)},
        FluidKind.POWER_STEERING: {
            _CAR: practice(1.1, 0.8, 1.6),
            _VAN: practice(1.4, 1.0, 2.0),
            _TRUCK: practice(4.5, 3.0, 7.0),
            _BUS: practice(6.0, 4.0, 9.0),
        },
    }
)

_NEAREST: Final[Mapping[VehicleClass, tuple[VehicleClass, ...]]] = MappingProxyType(
    {
        _CAR: (_CAR, _VAN, _TRUCK, _BUS, _TRACTOR, _MACHINE),
        _VAN: (_VAN, _CAR, _TRUCK, _BUS, _TRACTOR, _MACHINE),
        _TRUCK: (_TRUCK, _BUS, _MACHINE, _TRACTOR, _VAN, _CAR),
        _BUS: (_BUS, _TRUCK, _MACHINE, _TRACTOR, _VAN, _CAR),
        _TRACTOR: (_TRACTOR, _MACHINE, _TRUCK, _BUS, _VAN, _CAR),
        _MACHINE: (_MACHINE, _TRACTOR, _TRUCK, _BUS, _VAN, _CAR),
    }
)
"""Which class lends its volume when a kind is unusual in a class."""


def total_volume_for(kind: FluidKind, vehicle_class: VehicleClass) -> Sourced:
    """Litres in the whole compartment, from this class or from the class most like it."""
    by_class = TOTAL_VOLUME_LITRES[kind]
    return next(by_class[near] for near in _NEAREST[vehicle_class] if near in by_class)
