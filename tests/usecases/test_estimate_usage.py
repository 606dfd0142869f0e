"""States that go on with new readings are those of the whole history, whatever happens to the readings."""

from datetime import timedelta

import numpy as np
import pytest

from service.store import bulk
from service.store.repositories import projections
from service.store.repositories.meter_histories import meter_histories
from service.store.repositories.stale_vehicles import mark_stale
from service.usecases.access.caller import system_caller
from service.usecases.due.refresh_fleet import refresh_fleet
from service.usecases.readings.decide_readings import decide_reading
from service.usecases.usage import estimate_usage as usage_room
from service.usecases.usage.estimate_usage import current_usage, estimate_usage
from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=400)


@pytest.fixture
def vehicles(operator):
    names = ("VAN-1", "VAN-2", "VAN-3")
    return [
        int(operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).json()["id"].split("_")[1])
        for name in names
    ]


def send(operator, *rows):
    """Rows of vehicle, day, odometer and, if known, engine hours."""
    body = [
        {"vehicle": vehicle, "taken_at": (FIRST_DAY + timedelta(days=day)).isoformat(), "odometer": km}
        | ({"engine_hours": hours[0]} if hours else {})
        for vehicle, day, km, *hours in rows
    ]
    answer = operator.post("/v1/readings", {"readings": body})
    assert answer.status_code == 200, answer.text
    return answer.json()["results"]


def refresh(database, operator, clock):
    with database.transaction() as session:
        while refresh_fleet(session, operator.organisation_id, clock.now()):
            pass


def assert_like_a_replay(database, operator, vehicles):
    with database.snapshot() as session:
        kept = current_usage(session, operator.organisation_id, vehicles)
        anew = estimate_usage(session, operator.organisation_id, vehicles)
    for ours, theirs in ((kept.odometer, anew.odometer), (kept.hours, anew.hours)):
        np.testing.assert_allclose(ours.to_array(), theirs.to_array(), rtol=1e-9, atol=1e-9)


def history(vehicle, n_readings, rng, with_hours=False):
    days = np.cumsum(rng.uniform(3.0, 15.0, n_readings))
    km = 20_000.0 + np.cumsum(np.diff(days, prepend=0.0) * rng.uniform(20.0, 90.0, n_readings))
    return [
        (vehicle, float(day), float(round(at)), *([round(day * 1.5, 1)] if with_hours else []))
        for day, at in zip(days, km, strict=True)
    ]


def test_readings_that_trickle_in_late_corrected_and_discarded_give_the_replays_states(
    database, operator, clock, vehicles
):
    rng = np.random.default_rng(1)
    rows = history("VAN-1", 26, rng, with_hours=True) + history("VAN-2", 26, rng)
    rows.sort(key=lambda row: row[1])
    late, rows = rows[20], rows[:20] + rows[21:]
    for start in range(0, len(rows), 6):
        send(operator, *rows[start : start + 6])
        assert_like_a_replay(database, operator, vehicles)
        refresh(database, operator, clock)
        assert_like_a_replay(database, operator, vehicles)
    send(operator, late)
    assert_like_a_replay(database, operator, vehicles)
    refresh(database, operator, clock)
    (wrong,) = send(operator, ("VAN-1", 398.0, 999_999.0))
    assert wrong["outcome"] == "held"
    refresh(database, operator, clock)
    send(operator, ("VAN-1", 399.0, rows[-1][2] + 9_000.0))
    stored = operator.get("/v1/vehicles/VAN-2/readings").json()["readings"]
    caller = system_caller(operator.organisation_id, "test")
    for decision in ("discard", "release"):
        with database.transaction() as session:
            decide_reading(session, caller, clock.now(), stored[7]["id"], decision)
        assert_like_a_replay(database, operator, vehicles)
        refresh(database, operator, clock)
        assert_like_a_replay(database, operator, vehicles)


def test_only_the_vehicle_whose_past_changed_is_estimated_anew(
    database, operator, clock, vehicles, monkeypatch
):
    rng = np.random.default_rng(3)
    for vehicle in ("VAN-1", "VAN-2"):
        send(operator, *history(vehicle, 31, rng))
    refresh(database, operator, clock)
    asked = []

    def noted(session, organisation_id, vehicle_ids):
        asked.extend(vehicle_ids)
        return estimate_usage(session, organisation_id, vehicle_ids)

    monkeypatch.setattr(usage_room, "estimate_usage", noted)
    last = max(row["odometer"] for row in operator.get("/v1/vehicles/VAN-1/readings").json()["readings"])
    send(operator, ("VAN-1", 390.0, last + 1500.0), ("VAN-2", 0.5, 19_000.0))
    refresh(database, operator, clock)
    assert asked == [vehicles[1]]
    assert_like_a_replay(database, operator, vehicles)


def test_new_readings_alone_are_read_from_the_store(database, operator, clock, vehicles):
    send(operator, *history("VAN-1", 24, np.random.default_rng(4)))
    refresh(database, operator, clock)
    last = max(row["odometer"] for row in operator.get("/v1/vehicles/VAN-1/readings").json()["readings"])
    send(operator, ("VAN-1", 390.0, last + 1500.0), ("VAN-1", 395.0, last + 1700.0))
    with database.snapshot() as session:
        earlier = projections.read_earlier_usage(session, operator.organisation_id, vehicles)
        found, _ = meter_histories(session, operator.organisation_id, vehicles, only_changed=True)
    assert earlier[vehicles[0]].changed_from == FIRST_DAY + timedelta(days=390)
    assert np.diff(found.offsets).tolist() == [2, 0, 0]


def test_a_service_without_a_new_reading_leaves_the_states_as_they_were(database, operator, clock, vehicles):
    send(operator, *history("VAN-1", 12, np.random.default_rng(5)))
    refresh(database, operator, clock)
    with database.transaction() as session:
        mark_stale(session, operator.organisation_id, vehicles, clock.now())
    with database.snapshot() as session:
        stored = projections.read_earlier_usage(session, operator.organisation_id, vehicles)
    assert stored[vehicles[0]].changed_from is None
    assert_like_a_replay(database, operator, vehicles)


@pytest.mark.parametrize("copied_from", [1, 1_000])
def test_few_states_and_many_are_stored_as_they_were_estimated(
    database, operator, clock, vehicles, copied_from, monkeypatch
):
    monkeypatch.setattr(bulk, "COPY_FROM_ROWS", copied_from)
    rng = np.random.default_rng(7)
    rows = [history(f"VAN-{number}", 8, rng, with_hours=number == 1) for number in (1, 2, 3)]
    for first, last in ((0, 4), (4, 8)):
        send(operator, *(row for own in rows for row in own[first:last]))
        refresh(database, operator, clock)
        with database.snapshot() as session:
            kept = current_usage(session, operator.organisation_id, vehicles)
            stored = projections.read_earlier_usage(session, operator.organisation_id, vehicles)
            anew = estimate_usage(session, operator.organisation_id, vehicles)
        assert kept.is_stored
        assert [stored[key].changed_from for key in vehicles] == [None] * len(vehicles)
        np.testing.assert_allclose(kept.odometer.to_array(), anew.odometer.to_array(), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(kept.hours.to_array(), anew.hours.to_array(), rtol=1e-9, atol=1e-9)


def test_another_class_is_another_prior_and_needs_the_whole_history(database, operator, clock, vehicles):
    send(operator, *history("VAN-1", 4, np.random.default_rng(6)))
    refresh(database, operator, clock)
    assert operator.patch("/v1/vehicles/VAN-1", {"class": "truck"}).status_code == 200
    assert_like_a_replay(database, operator, vehicles)
    with database.snapshot() as session:
        assert vehicles[0] not in projections.read_usage(session, operator.organisation_id, vehicles)
    refresh(database, operator, clock)
    with database.snapshot() as session:
        assert vehicles[0] in projections.read_usage(session, operator.organisation_id, vehicles)
    send(operator, ("VAN-1", 390.0, 80_000.0))
    assert_like_a_replay(database, operator, vehicles)
