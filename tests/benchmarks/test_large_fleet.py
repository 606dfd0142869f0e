"""Large fleets for load tests: quick, repeatable and possible."""

from datetime import UTC, datetime

import numpy as np
import pytest

from service.domain.plausibility import KM_PER_DAY, ODOMETER_KM
from service.errors import InvalidInputError
from tests.benchmarks.large_fleet import LATER_DAYS, SPAN_DAYS, LargeFleet, build_fleet_of

NOW = datetime(2026, 5, 1, 7, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def large() -> LargeFleet:
    return build_fleet_of(21_000, 12, NOW)


def test_same_arguments_give_the_same_fleet(large: LargeFleet) -> None:
    again = build_fleet_of(21_000, 12, NOW)
    np.testing.assert_array_equal(again.odometer_km, large.odometer_km)
    np.testing.assert_array_equal(again.last_service_days, large.last_service_days)
    assert not np.array_equal(build_fleet_of(21_000, 12, NOW, seed=8).odometer_km, large.odometer_km)


def test_shapes_are_those_of_ragged_histories(large: LargeFleet) -> None:
    assert large.offsets.shape == (21_001,)
    assert large.offsets.dtype == np.int64
    assert large.offsets[-1] == large.time_days.size == large.odometer_km.size == 21_000 * 12
    assert large.kind_index.shape == large.interval_km.shape == (21_000, 3)
    assert len(np.unique(large.class_index)) == 6


def test_readings_rise_and_stay_possible(large: LargeFleet) -> None:
    times, odometers = large.time_days.reshape(-1, 12), large.odometer_km.reshape(-1, 12)
    assert np.diff(times, axis=1).min() > 0
    assert times.min() > 0
    assert times.max() < large.now_days == SPAN_DAYS
    assert np.diff(odometers, axis=1).min() >= 0
    assert odometers.max() <= ODOMETER_KM.maximum
    driven = np.diff(odometers, axis=1) - 100.0
    assert (driven / np.diff(times, axis=1)).max() <= KM_PER_DAY.maximum


def test_truth_continues_the_readings(large: LargeFleet) -> None:
    last = large.odometer_km.reshape(-1, 12)[:, -1]
    assert (large.true_odometer_now_km >= last).all()
    ahead = large.true_odometer_later_km - large.true_odometer_now_km
    assert (ahead >= 0).all()
    assert 20 < np.median(ahead / LATER_DAYS) < 200


def test_services_lie_in_the_past_and_below_the_odometer(large: LargeFleet) -> None:
    assert (large.last_service_days < large.now_days).all()
    assert (large.last_service_odometer_km >= 0).all()
    assert (large.last_service_odometer_km <= large.true_odometer_now_km[:, None]).all()
    assert (large.drainable_litres <= large.total_litres).all()


def test_one_reading_of_one_vehicle_works() -> None:
    assert build_fleet_of(1, 1, NOW).odometer_km.shape == (1,)


@pytest.mark.parametrize(("n_vehicles", "n_readings"), [(0, 5), (5, 0)])
def test_empty_fleets_are_refused(n_vehicles: int, n_readings: int) -> None:
    with pytest.raises(InvalidInputError):
        build_fleet_of(n_vehicles, n_readings, NOW)
