"""Every kind of typing mistake is there, and is what its name says."""

from collections.abc import Callable

import pytest

from seed_demo import cast
from seed_demo.fleet import DemoFleet
from seed_demo.mistakes import KINDS
from seed_demo.records import DemoMistake, DemoReading
from service.domain.plausibility import ENGINE_HOURS, KM_PER_DAY, ODOMETER_KM
from service.units import KM_PER_MILE


def _keyed(fleet: DemoFleet, mistake: DemoMistake) -> list[DemoReading]:
    return [reading for reading in fleet.readings if reading.reference == mistake.reference]


def _one_digit_apart(longer: float, shorter: float) -> bool:
    digits, fewer = str(int(longer)), str(int(shorter))
    return any(int(digits[:k] + digits[k + 1 :]) == int(fewer) for k in range(len(digits)))


CHECKS: dict[str, Callable[[float, float], bool]] = {
    "digit_lost": lambda keyed, true: _one_digit_apart(true, keyed),
    "digit_added": _one_digit_apart,
    "other_vehicle": lambda keyed, true: abs(keyed - true) > 5_000,
    "km_for_miles": lambda keyed, true: abs(keyed / KM_PER_MILE - true) <= 1,
    "miles_for_km": lambda keyed, true: abs(keyed * KM_PER_MILE - true) <= 1,
    "rollback": lambda keyed, true: keyed < true - 3,
    "future": lambda keyed, true: keyed == true,
    "duplicate": lambda keyed, true: keyed == true,
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_planted_as_named(fleet: DemoFleet, kind: str) -> None:
    mistakes = [mistake for mistake in fleet.truth.mistakes if mistake.kind == kind]
    assert mistakes
    for mistake in mistakes:
        keyed = _keyed(fleet, mistake)
        assert len(keyed) == (2 if kind == "duplicate" else 1)
        assert CHECKS[kind](keyed[0].odometer, mistake.true_odometer)


def test_another_vehicle_of_the_class_showed_the_number(fleet: DemoFleet) -> None:
    for mistake in (mistake for mistake in fleet.truth.mistakes if mistake.kind == "other_vehicle"):
        (keyed,) = _keyed(fleet, mistake)
        prefix = mistake.vehicle[:3]
        assert any(
            reading.odometer == keyed.odometer and reading.taken_at <= keyed.taken_at
            for reading in fleet.readings
            if reading.vehicle != mistake.vehicle and reading.vehicle.startswith(prefix)
        )


def test_a_rollback_is_below_the_three_readings_before(fleet: DemoFleet) -> None:
    for mistake in (mistake for mistake in fleet.truth.mistakes if mistake.kind == "rollback"):
        (keyed,) = _keyed(fleet, mistake)
        before = [
            reading
            for reading in fleet.readings
            if reading.vehicle == mistake.vehicle and reading.taken_at < keyed.taken_at
        ]
        assert keyed.odometer < min(reading.odometer for reading in before[-3:])


def test_a_wrong_year_lies_ahead(fleet: DemoFleet, now: object) -> None:
    for mistake in (mistake for mistake in fleet.truth.mistakes if mistake.kind == "future"):
        assert _keyed(fleet, mistake)[0].taken_at > now


def test_every_number_could_be_on_an_instrument(fleet: DemoFleet) -> None:
    for reading in fleet.readings:
        factor = KM_PER_MILE if reading.unit == "mi" else 1.0
        assert ODOMETER_KM.hold(reading.odometer * factor)
        assert reading.engine_hours is None or ENGINE_HOURS.hold(reading.engine_hours)


def test_what_was_not_mistyped_is_the_truth(fleet: DemoFleet) -> None:
    """Rounded down to what the instrument shows, shifted by the replaced cluster, and never decreasing."""
    wrong = {mistake.reference for mistake in fleet.truth.mistakes}
    rows = {vehicle.vehicle: row for row, vehicle in enumerate(fleet.vehicles)}
    usage, new = fleet.truth.usage, fleet.truth.cluster_replacement
    last: dict[str, DemoReading] = {}
    for reading in fleet.readings:
        if reading.reference in wrong:
            continue
        true_km = float(usage.distance_km_at(rows[reading.vehicle], usage.day_number(reading.taken_at)))
        if reading.vehicle == new.vehicle and reading.taken_at >= new.replaced_at:
            true_km += new.new_odometer - float(
                usage.distance_km_at(rows[new.vehicle], usage.day_number(new.replaced_at))
            )
        shown = true_km / (KM_PER_MILE if reading.unit == "mi" else 1.0)
        assert shown - 1.0 <= reading.odometer <= shown + 0.051
        before = last.get(reading.vehicle)
        if before is not None and reading.vehicle != new.vehicle:
            days = (reading.taken_at - before.taken_at).total_seconds() / 86_400
            assert 0 <= reading.odometer - before.odometer <= KM_PER_DAY.maximum * days + 1
        last[reading.vehicle] = reading


def test_the_replaced_cluster_starts_anew_once(fleet: DemoFleet) -> None:
    new = fleet.truth.cluster_replacement
    odometers = [reading.odometer for reading in fleet.readings if reading.vehicle == cast.CLUSTER_REPLACED]
    falls = [k for k in range(1, len(odometers)) if odometers[k] < odometers[k - 1]]
    assert new.vehicle == cast.CLUSTER_REPLACED
    assert len(falls) == 1
    assert odometers[falls[0] - 1] <= new.old_odometer
    assert new.new_odometer <= odometers[falls[0]] < 10_000
    assert len(odometers) - falls[0] >= 3


def test_readings_are_irregular_and_many(fleet: DemoFleet) -> None:
    assert 3_000 <= len(fleet.readings) <= 5_000
    assert {reading.source for reading in fleet.readings} == {"driver", "fuel card", "telematics", "workshop"}
