"""The units in which people read an odometer; everything inside is in kilometres."""

from enum import StrEnum


class DistanceUnit(StrEnum):
    """What the odometer of a vehicle shows."""

    KM = "km"
    MI = "mi"
