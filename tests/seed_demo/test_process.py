"""The truth behind the demonstration behaves like use of vehicles, and like its own equations."""

from datetime import timedelta

import numpy as np
import pytest

from seed_demo import cast
from seed_demo.blueprints import BLUEPRINTS
from seed_demo.fleet import DemoFleet
from seed_demo.process import HISTORY_DAYS, LIFE_DAYS
from service.domain.plausibility import ENGINE_HOURS_PER_DAY, KM_PER_DAY, ODOMETER_KM
from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass


def _row(fleet: DemoFleet, name: str) -> int:
    return next(row for row, vehicle in enumerate(fleet.vehicles) if vehicle.vehicle == name)


def test_distance_and_hours_never_decrease_and_stay_possible(fleet: DemoFleet) -> None:
    usage = fleet.truth.usage
    km = np.diff(usage.distance_km, axis=1)
    assert km.min() >= 0
    assert km.max() <= KM_PER_DAY.maximum
    assert usage.distance_km.max() <= ODOMETER_KM.maximum
    metered = ~np.isnan(usage.engine_hours).all(axis=1)
    hours = np.diff(usage.engine_hours[metered], axis=1)
    assert hours.min() >= 0
    assert hours.max() <= ENGINE_HOURS_PER_DAY.maximum


def test_nothing_moves_before_its_first_day(fleet: DemoFleet) -> None:
    usage = fleet.truth.usage
    for row, vehicle in enumerate(fleet.vehicles):
        first = (vehicle.in_service_on - usage.first_on).days
        assert usage.distance_km[row, first] == 0
        assert usage.distance_km[row, -1] > 0


@pytest.mark.parametrize("vehicle_class", list(VehicleClass))
def test_a_class_is_used_about_as_the_service_expects(fleet: DemoFleet, vehicle_class: VehicleClass) -> None:
    """Expected: median km a day of the class and its range, common practice without source."""
    rows = [row for row, vehicle in enumerate(fleet.vehicles) if vehicle.vehicle_class == vehicle_class]
    usage = fleet.truth.usage
    span = usage.distance_km[rows, LIFE_DAYS] - usage.distance_km[rows, LIFE_DAYS - HISTORY_DAYS]
    expected = CLASS_DEFAULTS[vehicle_class].km_per_day
    assert expected.low <= np.median(span / HISTORY_DAYS) <= expected.high


def test_weekday_weights_have_mean_one() -> None:
    for blueprint in BLUEPRINTS.values():
        assert sum(blueprint.habit.weekday_weights) == pytest.approx(7.0)


def test_lorries_rest_on_sundays_and_tractors_in_winter(fleet: DemoFleet) -> None:
    usage = fleet.truth.usage
    km = np.diff(usage.distance_km, axis=1)[:, LIFE_DAYS - HISTORY_DAYS : LIFE_DAYS]
    days = [usage.first_on + timedelta(days=LIFE_DAYS - HISTORY_DAYS + k) for k in range(HISTORY_DAYS)]
    trucks = [row for row, vehicle in enumerate(fleet.vehicles) if vehicle.vehicle_class == "truck"]
    tractors = [row for row, vehicle in enumerate(fleet.vehicles) if vehicle.vehicle_class == "tractor"]
    sundays = np.array([day.isoweekday() == 7 for day in days])
    summer, winter = (np.array([day.month in months for day in days]) for months in ((6, 7), (12, 1)))
    assert km[trucks][:, sundays].sum() == 0
    assert km[tractors][:, summer].mean() > 1.5 * km[tractors][:, winter].mean()


def test_some_weeks_are_parked_and_one_vehicle_has_stood_for_months(fleet: DemoFleet) -> None:
    km = np.diff(fleet.truth.usage.distance_km, axis=1)[:, LIFE_DAYS - HISTORY_DAYS : LIFE_DAYS]
    in_service_weeks = km[:, : HISTORY_DAYS // 7 * 7].reshape(km.shape[0], -1, 7).sum(axis=2)
    parked_share = np.mean(in_service_weeks == 0)
    assert 0.005 < parked_share < 0.12
    assert km[_row(fleet, fleet.truth.parked_lately), -100:].sum() == 0


def test_a_changed_route_shows_in_the_use(fleet: DemoFleet) -> None:
    """The factor is at least e^0.35 either way, and a bus is steady: quarters of the history differ by 20 %."""
    km = np.diff(fleet.truth.usage.distance_km, axis=1)[_row(fleet, cast.CHANGED_ROUTE)]
    history = km[LIFE_DAYS - HISTORY_DAYS : LIFE_DAYS]
    before, after = history[:110].mean(), history[-80:].mean()
    assert abs(np.log(after / before)) > 0.2
    assert len(fleet.truth.changed_route) >= 4


def test_interpolation_agrees_with_the_days(fleet: DemoFleet) -> None:
    usage = fleet.truth.usage
    midnight = usage.at_day(1234.0)
    assert usage.day_number(midnight) == 1234.0
    noon = float(usage.distance_km_at(3, 1234.5))
    assert noon == pytest.approx(usage.distance_km[3, 1234:1236].mean())
