"""What the instruments show, as against what was really driven."""

import math
from dataclasses import dataclass
from typing import Final

from seed_demo import cast
from seed_demo.process import HISTORY_DAYS, LIFE_DAYS, TrueUsage
from seed_demo.records import DemoClusterReplacement, DemoVehicle
from service.domain.units_of_distance import DistanceUnit
from service.units import miles_from_km

REPLACED_BEFORE_NOW_DAYS: Final = 203.4
FIRST_NUMBER_OF_NEW_CLUSTER_KM: Final = 6.0

_READS_TENTHS: Final = frozenset({"telematics"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Instruments:
    """The dashboards of the fleet."""

    vehicles: tuple[DemoVehicle, ...]
    usage: TrueUsage
    replaced_row: int
    replaced_day: float

    def odometer(self, row: int, day: float, source: str) -> float:
        """Read the odometer in the vehicle's unit, rounded as this source rounds it."""
        km = float(self.usage.distance_km_at(row, day)) - self._lost_km(row, day)
        shown = miles_from_km(km) if self.vehicles[row].odometer_unit == DistanceUnit.MI else km
        return round(shown, 1) if source in _READS_TENTHS else float(int(shown))

    def engine_hours(self, row: int, day: float) -> float | None:
        """Read the hour meter; none on vehicles without one."""
        hours = float(self.usage.engine_hours_at(row, day))
        return round(hours, 1) if math.isfinite(hours) else None

    def replacement(self) -> DemoClusterReplacement:
        """Tell the one replacement of a cluster."""
        row = self.replaced_row
        return DemoClusterReplacement(
            vehicle=self.vehicles[row].vehicle,
            replaced_at=self.usage.at_day(self.replaced_day),
            old_odometer=float(int(float(self.usage.distance_km_at(row, self.replaced_day)))),
            new_odometer=FIRST_NUMBER_OF_NEW_CLUSTER_KM,
            unit=self.vehicles[row].odometer_unit,
        )

    def _lost_km(self, row: int, day: float) -> float:
        if row != self.replaced_row or day < self.replaced_day:
            return 0.0
        at_replacement = float(self.usage.distance_km_at(row, self.replaced_day))
        return at_replacement - FIRST_NUMBER_OF_NEW_CLUSTER_KM


def build_instruments(vehicles: tuple[DemoVehicle, ...], usage: TrueUsage) -> Instruments:
    """Fit the dashboards; one of them is replaced on the way."""
    names = [vehicle.vehicle for vehicle in vehicles]
    return Instruments(
        vehicles=vehicles,
        usage=usage,
        replaced_row=names.index(cast.CLUSTER_REPLACED),
        replaced_day=LIFE_DAYS - min(REPLACED_BEFORE_NOW_DAYS, HISTORY_DAYS),
    )
