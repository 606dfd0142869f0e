"""Typing mistakes of every kind that a screening has to find, planted into the readings."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.records import DemoMistake, DemoReading
from service.domain.plausibility import ODOMETER_KM
from service.units import km_from_miles, miles_from_km

KINDS: Final = (
    "digit_lost",
    "digit_added",
    "other_vehicle",
    "km_for_miles",
    "miles_for_km",
    "rollback",
    "future",
    "duplicate",
)
N_OF_EACH: Final = 2
READINGS_ROLLED_BACK: Final = 3
"""A rollback falls below the reading so many before, so that it is plain which of them is wrong."""
LEAST_CROWD: Final = 10
"""A class must have so many vehicles for one to be taken for another."""
UNDISTURBED_AT_ENDS: Final = 6
"""Readings at either end of a history that stay right, so that a mistake has neighbours on both sides."""

_FATES: Final = {"future": "refused", "duplicate": "duplicate"}
"""What becomes of a mistake that nobody has to look at."""

Histories = dict[str, list[DemoReading]]


@dataclass(frozen=True, slots=True)
class _Slip:
    """A reading that somebody is about to mistype."""

    reading: DemoReading
    before: DemoReading
    others: tuple[DemoReading, ...]
    rng: np.random.Generator


def plant_mistakes(
    readings: Histories, classes: dict[str, str], seed: int
) -> tuple[list[DemoReading], list[DemoMistake]]:
    """Mistype some readings; all readings in the order in which they were sent, and what was wrong."""
    rng = np.random.default_rng([seed, 5])
    histories = {vehicle: list(rows) for vehicle, rows in readings.items()}
    sent_at = {row.reference: row.taken_at for rows in readings.values() for row in rows}
    places = _choose_places(readings, classes, rng)
    places += [(kind, vehicle, len(readings[vehicle]) - 1) for vehicle, kind in cast.NEWEST_MISTAKES.items()]
    mistaken = {vehicle for _, vehicle, _ in places}
    mistakes = []
    for kind, vehicle, index in places:
        right = readings[vehicle][index]
        others = _shown_elsewhere(readings, classes, mistaken, right)
        wrong = _TYPISTS[kind](_Slip(right, readings[vehicle][index - READINGS_ROLLED_BACK], others, rng))
        if kind == "duplicate":
            histories[vehicle].append(wrong)
        else:
            histories[vehicle][index] = wrong
        mistakes.append(
            DemoMistake(
                reference=right.reference,
                vehicle=vehicle,
                kind=kind,
                true_odometer=right.odometer,
                fate=_FATES.get(kind, "discarded" if right is not readings[vehicle][-1] else "waiting"),
            )
        )
    everything = [row for rows in histories.values() for row in rows]
    everything.sort(key=lambda row: (sent_at[row.reference], row.reference))
    return everything, mistakes


def _choose_places(
    readings: Histories, classes: dict[str, str], rng: np.random.Generator
) -> list[tuple[str, str, int]]:
    """Pick vehicle and reading of each mistake; no vehicle twice, none that has another part to play."""
    busy = {*cast.NEWEST_MISTAKES, cast.CLUSTER_REPLACED, *(plan.vehicle for plan in cast.DUE_THIS_WEEK)}
    free = [vehicle for vehicle in readings if vehicle not in busy]
    rng.shuffle(free)
    sizes = Counter(classes.values())
    in_crowd = {vehicle for vehicle in free if sizes[classes[vehicle]] >= LEAST_CROWD}
    places = []
    for kind in KINDS:
        for _ in range(N_OF_EACH):
            vehicle = cast.IN_MILES if kind == "km_for_miles" else _take(free, kind, readings, in_crowd)
            last = len(readings[vehicle]) - UNDISTURBED_AT_ENDS
            first = last - 2 if kind == "future" else UNDISTURBED_AT_ENDS
            places.append((kind, vehicle, int(rng.integers(first, last))))
    return list({place[1:]: place for place in places}.values())


def _take(free: list[str], kind: str, readings: Histories, in_crowd: set[str]) -> str:
    """Take the next free vehicle that can carry this mistake."""
    for position, vehicle in enumerate(free):
        last = readings[vehicle][-1].odometer
        is_keyed = readings[vehicle][-1].source != "telematics" and last > 5_000
        has_room = kind != "digit_added" or last * 11 < ODOMETER_KM.maximum
        has_others = kind != "other_vehicle" or vehicle in in_crowd
        if is_keyed and has_room and has_others:
            return free.pop(position)
    message = f"no vehicle is left that could carry a mistake of kind {kind}"
    raise ValueError(message)


def _shown_elsewhere(
    readings: Histories, classes: dict[str, str], mistaken: set[str], right: DemoReading
) -> tuple[DemoReading, ...]:
    """List the latest right reading, before this one, of every like vehicle with an odometer in the same unit."""
    earlier = (
        [row for row in rows if row.taken_at <= right.taken_at and row.unit == right.unit]
        for vehicle, rows in readings.items()
        if classes[vehicle] == classes[right.vehicle] and vehicle not in mistaken
    )
    return tuple(rows[-1] for rows in earlier if rows)


def _lose_digit(slip: _Slip) -> DemoReading:
    digits = str(int(slip.reading.odometer))
    position = int(slip.rng.integers(1, len(digits)))
    return replace(slip.reading, odometer=float(digits[:position] + digits[position + 1 :]))


def _add_digit(slip: _Slip) -> DemoReading:
    digits = str(int(slip.reading.odometer))
    position = int(slip.rng.integers(1, len(digits)))
    return replace(slip.reading, odometer=float(digits[:position] + digits[position - 1] + digits[position:]))


def _take_other(slip: _Slip) -> DemoReading:
    far = [row for row in slip.others if abs(row.odometer - slip.reading.odometer) > 5_000]
    return replace(slip.reading, odometer=far[int(slip.rng.integers(len(far)))].odometer)


def _take_kilometres(slip: _Slip) -> DemoReading:
    return replace(slip.reading, odometer=float(round(km_from_miles(slip.reading.odometer))))


def _take_miles(slip: _Slip) -> DemoReading:
    return replace(slip.reading, odometer=float(round(miles_from_km(slip.reading.odometer))))


def _roll_back(slip: _Slip) -> DemoReading:
    return replace(slip.reading, odometer=float(round(slip.before.odometer - slip.rng.uniform(60, 400))))


def _take_next_year(slip: _Slip) -> DemoReading:
    return replace(slip.reading, taken_at=slip.reading.taken_at + timedelta(days=365))


def _send_twice(slip: _Slip) -> DemoReading:
    return slip.reading


_TYPISTS: Final[dict[str, Callable[[_Slip], DemoReading]]] = dict(
    zip(
        KINDS,
        (
            _lose_digit,
            _add_digit,
            _take_other,
            _take_kilometres,
            _take_miles,
            _roll_back,
            _take_next_year,
            _send_twice,
        ),
        strict=True,
    )
)
