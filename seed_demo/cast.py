"""Which vehicle plays which part, so that the demonstration shows every case whatever day it starts."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedDue:
    """A compartment that is made to fall due in the running week, and the limit that makes it."""

    vehicle: str
    compartment: str
    limit: str
    days_from_now: int
    """Kept inside the running ISO week."""


DUE_THIS_WEEK: Final = (
    PlannedDue(vehicle="TRK-05", compartment="rear axle", limit="distance", days_from_now=1),
    PlannedDue(vehicle="TRK-08", compartment="engine", limit="distance", days_from_now=-1),
    PlannedDue(vehicle="VAN-03", compartment="engine", limit="distance", days_from_now=0),
    PlannedDue(vehicle="CAR-04", compartment="brakes", limit="calendar", days_from_now=2),
    PlannedDue(vehicle="VAN-09", compartment="brakes", limit="calendar", days_from_now=0),
    PlannedDue(vehicle="TRA-02", compartment="transmission", limit="hours", days_from_now=1),
    PlannedDue(vehicle="MCH-03", compartment="engine", limit="hours", days_from_now=0),
    PlannedDue(vehicle="VAN-12", compartment="gearbox", limit="condition", days_from_now=0),
    PlannedDue(vehicle="BUS-02", compartment="gearbox", limit="condition", days_from_now=1),
)

CONTAMINATED: Final = ("BUS-05", "gearbox")
"""Coolant in the gearbox, found by a laboratory a few days ago."""

IN_MILES: Final = "VAN-05"
CLUSTER_REPLACED: Final = "TRK-11"
PARKED_LATELY: Final = "VAN-16"
CHANGED_ROUTE: Final = "BUS-07"
"""One vehicle that surely changes its route; others do by chance."""

NEWEST_MISTAKES: Final = {
    "CAR-06": "digit_added",
    "VAN-07": "digit_lost",
    "VAN-10": "other_vehicle",
    "TRK-02": "rollback",
    "VAN-05": "km_for_miles",
}
"""The last reading of these is mistyped, is held, and waits for somebody's decision."""

SHORT_FLUID: Final = "DEMO-AXLE-90"
"""Too little of it for what is due this week, and nothing on order."""
LINE_EXCHANGED: Final = ("VAN-02", "gearbox")
TOPPED_UP: Final = ("TRK-04", "engine")


def planned_for(vehicle: str, compartment: str) -> PlannedDue | None:
    """Find the part of a compartment, if it has one."""
    found = (plan for plan in DUE_THIS_WEEK if (plan.vehicle, plan.compartment) == (vehicle, compartment))
    return next(found, None)
