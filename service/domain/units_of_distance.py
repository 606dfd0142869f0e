"""The units in which people read an odometer; everything inside is in kilometres."""

from enum import StrEnum

from service.units import miles_from_km


class DistanceUnit(StrEnum):
    """What the odometer of a vehicle shows."""

    KM = "km"
    MI = "mi"

    def of_km(self, km: float) -> float:
        """A distance given in kilometres, in this unit."""
        return miles_from_km(km) if self is DistanceUnit.MI else km
