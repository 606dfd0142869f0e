"""The demo fleet through the service's own doors: what it plans agrees with the invented truth."""

from datetime import UTC, datetime

import numpy as np
import pytest

from seed_demo.fleet import build_demo_fleet
from seed_demo.loader import load_demo_fleet
from service.domain.weeks import IsoWeek
from service.engine.usage.predict import odometer_quantiles
from service.store.repositories import fleet
from service.store.repositories.meter_histories import meter_histories
from service.store.schema import upgrade_schema
from service.store.session import Database
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.estimate_usage import current_usage
from service.usecases.visits.fleet_names import load_names, project_in_blocks

NOW = datetime(2026, 5, 1, 7, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """The demo in a database of its own, loaded once for all tests of this file."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    database = Database(f"sqlite:///{path}", sqlite_synchronous="NORMAL")
    upgrade_schema(database)
    caller = load_demo_fleet(database, NOW, lambda _text: None)
    yield database, caller
    database.close()


@pytest.mark.slow
def test_what_is_due_this_week_in_truth_is_on_the_list(loaded):
    """Nine of ten planned vehicles at least: the service sees readings and samples, not the truth itself."""
    database, caller = loaded
    truth = build_demo_fleet(NOW).truth
    with database.snapshot() as session:
        names = load_names(session, caller.organisation_id)
        week = IsoWeek.of(NOW.date())
        likely = set()
        for projection in project_in_blocks(session, names, NOW):
            by_end = projection.due.week_probability[:, : projection.weeks[0].weeks_until(week) + 1].sum(
                axis=1
            )
            for place in range(len(projection)):
                vehicle = names.vehicles[projection.compartments["vehicle_id"][place]]
                if by_end[place] > 0.25:
                    likely.add((vehicle.reference, projection.compartments["reference"][place]))
    planned = {(one.vehicle, one.compartment) for one in truth.due_this_week}
    assert len(planned & likely) >= 0.9 * len(planned), planned - likely


@pytest.mark.slow
def test_odometers_lie_inside_their_bands_as_often_as_stated(loaded):
    """True odometers now against P10–P90: 80 % stated, 60 vehicles, so 65 % to 95 % is within three standard errors."""
    database, caller = loaded
    demo = build_demo_fleet(NOW)
    with database.snapshot() as session:
        vehicles = fleet.list_vehicles(session, caller.organisation_id)
        ids = [vehicle.id for vehicle in vehicles]
        usage = current_usage(session, caller.organisation_id, ids)
        history, _ = meter_histories(session, caller.organisation_id, ids)
    bands = odometer_quantiles(usage.odometer, np.full(len(ids), days_of(NOW)), np.array([0.1, 0.9]))
    place_of = {vehicle.vehicle: place for place, vehicle in enumerate(demo.vehicles)}
    day = demo.truth.usage.day_number(NOW)
    inside = []
    for row, vehicle in enumerate(vehicles):
        last = history.offsets[row + 1] - 1
        if last < history.offsets[row]:
            continue
        place = place_of[vehicle.reference]
        then = demo.truth.usage.day_number(NOW) - (days_of(NOW) - history.time_days[last])
        driven = demo.truth.usage.distance_km_at(place, day) - demo.truth.usage.distance_km_at(place, then)
        true_now = history.value[last] + driven
        inside.append(bands[row, 0] <= true_now <= bands[row, 1])
    assert 0.65 <= np.mean(inside) <= 0.95
