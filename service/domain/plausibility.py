"""What can be true at all. Every bound that the service checks stands here, once, with its reason."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final

from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True)
class Bounds:
    """The least and the most that a number may be, ends included, and why."""

    minimum: float
    maximum: float
    reason: str
    finest: float = 0.0
    """What is nearer to zero than this, and not zero, is no measurement."""

    def hold(self, value: float) -> bool:
        """Whether a number is finite and inside; below a least of zero lies minus zero too, which no meter shows."""
        return (
            math.isfinite(value)
            and self.minimum <= value <= self.maximum
            and (value == 0.0 or abs(value) >= self.finest)
            and (value != 0.0 or self.minimum != 0.0 or math.copysign(1.0, value) > 0.0)
        )

    def check(self, pointer: str, value: float) -> float:
        """Give the number back, minus zero as zero, or refuse it and say what would be right."""
        if not self.hold(value):
            raise InvalidInputError.at(pointer, self._told(value))
        return value + 0.0

    def _told(self, value: float) -> str:
        if 0.0 < abs(value) < self.finest:
            return f"Finer than any meter shows: must be 0, or at least {self.finest:,.12g}."
        return f"Must be between {self.minimum:,.12g} and {self.maximum:,.12g}. {self.reason}"


# Finer than any meter shows: a metre, and a third of a second. Buses of vehicles tell 5 m and 0.05 h; from memory.
ODOMETER_KM: Final = Bounds(
    0, 2_500_000, "No road vehicle shows more; check the unit and the digits.", finest=0.001
)
ENGINE_HOURS: Final = Bounds(
    0, 200_000, "More than 22 years without a stop; check the digits.", finest=0.0001
)
KM_PER_DAY: Final = Bounds(0, 2_500, "More than 24 hours at over 100 km/h.")
ENGINE_HOURS_PER_DAY: Final = Bounds(0, 24, "A day has 24 hours.")

COMPARTMENT_LITRES: Final = Bounds(0.05, 2_000, "From a small brake circuit to a large hydraulic tank.")
EXCHANGED_LITRES: Final = Bounds(0, 4_000, "Twice the largest compartment.")
STOCK_LITRES: Final = Bounds(-1_000_000, 1_000_000, "Fifty road tankers.")
ROOM_LITRES: Final = Bounds(0, STOCK_LITRES.maximum, "No room, or room for the largest stock.")
PACK_LITRES: Final = Bounds(0.01, 40_000, "From a sachet to a road tanker.")
COUNT: Final = Bounds(0, 1_000_000, "Pieces of anything that one depot keeps.")

FLUID_CELSIUS: Final = Bounds(-60, 250, "Colder than any garage, hotter than any fluid survives.")
EXPANSION_CELSIUS: Final = Bounds(-50, 150, "Where the volume tables of petroleum fluids hold.")
DENSITY_KG_PER_M3: Final = Bounds(800.9, 1163.5, "The lubricating oils of ASTM D1250-04; second-hand.")

TORQUE_NM: Final = Bounds(0.5, 2_000, "From a small bleed screw to a wheel hub; check the unit.")

INTERVAL_KM: Final = Bounds(100, 2_000_000, "From a first run-in change to the life of a vehicle.")
INTERVAL_MONTHS: Final = Bounds(1, 360, "From a month to thirty years.")
INTERVAL_HOURS: Final = Bounds(1, 50_000, "From a first run-in change to the life of a machine.")

PLANNED_DAYS: Final = Bounds(0, 10_957, "Thirty years.")

FRACTION: Final = Bounds(0, 1, "A share of the whole: 0.5 is half.")
LIFE_USED: Final = Bounds(0, 1.5, "0 is new, 1 is the condemning limit; beyond 1.5 nothing changes.")
DUTY_MULTIPLIER: Final = Bounds(0.1, 10, "Ten times gentler or harder than normal work.")
ROUNDS: Final = Bounds(1, 12, "After a dozen drains nothing old is left that another one would bring out.")

MOVING_KM_PER_DAY: Final = Bounds(0.1, 2_500, "What stands still needs a calendar, not a distance.")
HIGHEST_LIFE_USED: Final = Bounds(0.05, 1.5, "Between hardly used and beyond the condemning limit.")
LIKELY_PROBABILITY: Final = Bounds(0.5, 0.999, "Below one half most vehicles would be over the limit.")
AGEING_RATE: Final = Bounds(0, 0.1, "At most a whole life in ten kilometres or ten days.")
SPREAD_BY_MEAN: Final = Bounds(0, 2, "Standard deviation by the mean.")
HAZARD_SHAPE: Final = Bounds(0.5, 6, "3 is the third power.")
HAZARD_SCALE_KM: Final = Bounds(1_000, 1e9, "From a failure a week to hardly any at all.")
CHANGE_AGAINST_NEW: Final = Bounds(1e-6, 10, "A share of the new fluid's value; 10 is eleven times as much.")

SERVICE_LEVEL: Final = Bounds(0.5, 0.9999, "A chance of not running out.")
SHELF_LIFE_DAYS: Final = Bounds(1, 7_300, "Twenty years at most.")
MINIMUM_PACKS: Final = Bounds(1, 10_000, "A smallest order of packs.")
RETURN_DAYS: Final = Bounds(1, 3_653, "From a day to ten years.")
TOKEN_DAYS: Final = Bounds(1, 3_650, "From a day to ten years.")
LEAD_TIME_DAYS: Final = Bounds(0, 730, "Two years.")
LABOUR_MINUTES: Final = Bounds(0, 2_880, "Two days without a break.")
PULL_MINUTES: Final = Bounds(5, 10_080, "Every five minutes to once a week.")
BAY_MINUTES_A_DAY: Final = Bounds(0, 144_000, "A hundred bays around the clock.")
PRICE_MINOR: Final = Bounds(0, 1_000_000_000, "In the smallest unit of the currency.")

VISCOSITY_MM2_PER_S: Final = Bounds(0.2, 1_000_000, "From petrol to cold grease.")

OFFSET_KM: Final = Bounds(-ODOMETER_KM.maximum, ODOMETER_KM.maximum, "No two odometers are further apart.")
OFFSET_HOURS: Final = Bounds(-ENGINE_HOURS.maximum, ENGINE_HOURS.maximum, "No two meters are further apart.")

FIRST_DAY: Final = date(1980, 1, 1)
"""No record of a vehicle in service is older; a clock that lost its battery restarts there or before."""

LAST_DAY: Final = date(2100, 12, 31)
"""No plan reaches further."""

CLOCK_SKEW: Final = timedelta(hours=1)
"""A sender's clock may run ahead of ours by this much; such a time is taken as now."""

WESTERNMOST: Final = timedelta(hours=-12)
EASTERNMOST: Final = timedelta(hours=14)
"""No clock on earth is further from UTC: the zones of the time zone database since 1980."""

NO_SUCH_OFFSET: Final = "No clock is so far from UTC: offsets go from -12:00 to +14:00."

_FIRST_INSTANT: Final = datetime(1980, 1, 1, tzinfo=UTC)


def past_instant(pointer: str, value: datetime, now: datetime) -> datetime:
    """Give the UTC instant of something that has happened, or refuse a time that is absent, absurd or ahead.

    Within the allowance for a sender's clock a time ahead of ours becomes now. The year is checked before any
    conversion, because years 1 and 9999 with an offset cannot be turned into UTC.
    """
    utc = _utc(pointer, value)
    if utc > now + CLOCK_SKEW:
        raise InvalidInputError.at(
            pointer, "Lies in the future: check the date, the zone and the sender's clock."
        )
    return min(utc, now)


def is_offset_in_use(value: datetime) -> bool:
    """Whether a clock somewhere is as far from UTC as this time says."""
    offset = value.utcoffset()
    return offset is not None and WESTERNMOST <= offset <= EASTERNMOST


def hours_run_on(before: float, after: float, days: float) -> bool:
    """Whether an hour meter may show this so many days after it showed that: not backwards, not ahead of the clock."""
    # A tenth is what two people round apart; a binary fraction misses it by less than any meter shows.
    most_back = 0.1 + ENGINE_HOURS.finest
    return -most_back <= after - before <= ENGINE_HOURS_PER_DAY.maximum * days + 1.0


def planned_day(pointer: str, value: date) -> date:
    """Give a civil date back if a record or a plan can carry it.

    Raises
    ------
    InvalidInputError
        If it lies before `FIRST_DAY` or after `LAST_DAY`.
    """
    if not FIRST_DAY <= value <= LAST_DAY:
        raise InvalidInputError.at(pointer, f"Must be a date from {FIRST_DAY} to {LAST_DAY}.")
    return value


def _utc(pointer: str, value: datetime) -> datetime:
    if not FIRST_DAY.year <= value.year <= LAST_DAY.year:
        raise InvalidInputError.at(pointer, f"The year must be from {FIRST_DAY.year} to {LAST_DAY.year}.")
    if value.tzinfo is None or value.utcoffset() is None:
        raise InvalidInputError.at(
            pointer, "A time needs its offset from UTC, as in 2026-05-01T07:30:00+01:00, or Z for UTC."
        )
    if not is_offset_in_use(value):
        raise InvalidInputError.at(pointer, NO_SUCH_OFFSET)
    utc = value.astimezone(UTC)
    if utc < _FIRST_INSTANT:
        raise InvalidInputError.at(pointer, f"Nothing on record is older than {FIRST_DAY}.")
    return utc
