"""The classes of vehicles, and how much one of each usually does in a day."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.sourced import Sourced, practice


class VehicleClass(StrEnum):
    """What kind of vehicle it is, as far as fluids and usage care."""

    CAR = "car"
    VAN = "van"
    TRUCK = "truck"
    BUS = "bus"
    TRACTOR = "tractor"
    OTHER_MACHINE = "other_machine"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassDefaults:
    """What is assumed of a vehicle before it has readings of its own."""

    vehicle_class: VehicleClass
    label: str
    km_per_day: Sourced
    """Median over vehicles, averaged over all days of the year."""
    engine_hours_per_day: Sourced


CLASS_DEFAULTS: Final[Mapping[VehicleClass, ClassDefaults]] = MappingProxyType(
    {
        defaults.vehicle_class: defaults
        for defaults in (
            ClassDefaults(
                vehicle_class=VehicleClass.CAR,
                label="Car",
                km_per_day=practice(40, 10, 150),
                engine_hours_per_day=practice(1.0, 0.3, 4),
            ),
            ClassDefaults(
                vehicle_class=VehicleClass.VAN,
                label="Van",
                km_per_day=practice(70, 15, 250),
                engine_hours_per_day=practice(2.0, 0.5, 6),
            ),
            ClassDefaults(
                vehicle_class=VehicleClass.TRUCK,
                label="Truck",
                km_per_day=practice(200, 30, 600),
                engine_hours_per_day=practice(5.0, 1, 12),
            ),
            ClassDefaults(
                vehicle_class=VehicleClass.BUS,
                label="Bus",
                km_per_day=practice(150, 50, 400),
                engine_hours_per_day=practice(8.0, 3, 16),
            ),
            ClassDefaults(
                vehicle_class=VehicleClass.TRACTOR,
                label="Tractor",
                km_per_day=practice(12, 2, 60),
                engine_hours_per_day=practice(2.0, 0.3, 8),
            ),
            ClassDefaults(
                vehicle_class=VehicleClass.OTHER_MACHINE,
                label="Other machine",
                km_per_day=practice(8, 1, 60),
                engine_hours_per_day=practice(3.0, 0.3, 10),
            ),
        )
    }
)
