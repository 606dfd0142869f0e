"""The readings that drivers, fuel cards, telematics and the workshop sent, before anybody mistyped one."""

from datetime import datetime
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.instruments import Instruments
from seed_demo.process import HISTORY_DAYS, LIFE_DAYS, Floats
from seed_demo.records import DemoReading
from seed_demo.roster import class_numbers

GAP_SHAPE: Final = 3.0
EARLIEST_TIME_OF_DAY: Final = 0.23
LATEST_TIME_OF_DAY: Final = 0.83
LEAST_AGE_DAYS: Final = 0.05


def build_readings(instruments: Instruments, now: datetime, seed: int) -> dict[str, list[DemoReading]]:
    """Read every instrument at irregular times of the last eighteen months; oldest first, by vehicle."""
    rng = np.random.default_rng([seed, 4])
    now_day = instruments.usage.day_number(now)
    read_lately = set(cast.NEWEST_MISTAKES) | {plan.vehicle for plan in cast.DUE_THIS_WEEK}
    readings: dict[str, list[DemoReading]] = {}
    for row, (blueprint, _, _) in enumerate(class_numbers()):
        name = instruments.vehicles[row].vehicle
        days = _reading_days(blueprint.habit.reading_gap_days, now_day, rng)
        if name in read_lately:
            days = np.append(days[days < now_day - 0.6], now_day - rng.uniform(0.1, 0.4))
        readings[name] = [
            _reading(instruments, row, day, blueprint.source, f"{name}-R{number:04d}")
            for number, day in enumerate(days.tolist(), start=1)
        ]
    return readings


def _reading_days(gap_days: float, now_day: float, rng: np.random.Generator) -> Floats:
    n_most = int(2.5 * HISTORY_DAYS / gap_days) + 10
    gaps = rng.gamma(GAP_SHAPE, gap_days / GAP_SHAPE, n_most)
    days = np.unique(np.floor(LIFE_DAYS - HISTORY_DAYS + np.cumsum(gaps)))
    days = days + rng.uniform(EARLIEST_TIME_OF_DAY, LATEST_TIME_OF_DAY, days.size)
    return np.asarray(days[days < now_day - LEAST_AGE_DAYS], dtype=np.float64)


def _reading(instruments: Instruments, row: int, day: float, source: str, reference: str) -> DemoReading:
    vehicle = instruments.vehicles[row]
    taken_at = instruments.usage.at_day(day)
    exact_day = instruments.usage.day_number(taken_at)
    return DemoReading(
        vehicle=vehicle.vehicle,
        taken_at=taken_at,
        odometer=instruments.odometer(row, exact_day, source),
        unit=vehicle.odometer_unit,
        engine_hours=instruments.engine_hours(row, exact_day),
        source=source,
        reference=reference,
    )
