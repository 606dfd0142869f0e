"""Fluids that are not followed again after new readings stand where following them from the first event puts them."""

from datetime import timedelta

import numpy as np
import pytest

from service.store.repositories.stale_vehicles import mark_stale
from service.usecases.access.caller import system_caller
from service.usecases.due import refresh_fleet as refresh_room
from service.usecases.due.project_due import read_current
from service.usecases.due.refresh_fleet import refresh_fleet
from service.usecases.fluids.update_states import state_rows
from service.usecases.readings.decide_readings import decide_reading
from service.usecases.usage.estimate_usage import current_usage
from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=300)
NAMES = ("VAN-1", "VAN-2")


@pytest.fixture
def followed(monkeypatch) -> list[int]:
    """Vehicles whose fluids a refresh follows anew."""
    keys: list[int] = []
    follow = refresh_room.update_states

    def noted(session, organisation_id, vehicle_ids):
        keys.extend(vehicle_ids)
        follow(session, organisation_id, vehicle_ids)

    monkeypatch.setattr(refresh_room, "update_states", noted)
    return keys


@pytest.fixture
def vehicles(operator) -> list[int]:
    keys = []
    for name in NAMES:
        made = operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).json()
        keys.append(int(made["id"].split("_")[1]))
        compartment = {"compartment": "gearbox", "kind": "automatic_transmission_car", "total_litres": 9.0}
        answer = operator.post(f"/v1/vehicles/{name}/compartments", compartment)
        assert answer.status_code == 201, answer.text
    return keys


def read(operator, vehicle, day, km, hours=None):
    row = {"vehicle": vehicle, "taken_at": (FIRST_DAY + timedelta(days=day)).isoformat(), "odometer": km}
    answer = operator.post(
        "/v1/readings", {"readings": [row if hours is None else row | {"engine_hours": hours}]}
    )
    assert answer.status_code == 200, answer.text


def change_fluid(operator, vehicle, day, km=None):
    work = {
        "compartment": "gearbox",
        "method": "drain_and_fill",
        "rounds": [{"drained_litres": 4, "filled_litres": 4}],
    }
    body = {
        "vehicle": vehicle,
        "done_at": (FIRST_DAY + timedelta(days=day)).isoformat(),
        "compartments": [work],
        "late_entry": True,
    }
    answer = operator.post("/v1/services", body if km is None else body | {"odometer": km})
    assert answer.status_code == 201, answer.text


def refresh(database, operator, clock):
    with database.transaction() as session:
        while refresh_fleet(session, operator.organisation_id, clock.now()):
            pass


def assert_like_a_replay(database, operator, vehicles):
    """What a reader is shown, stored or not, is what following from the first event gives."""
    with database.snapshot() as session:
        key = operator.organisation_id
        shown = read_current(session, key, vehicles, current_usage(session, key, vehicles))
        anew = state_rows(session, key, vehicles)
    assert [row["compartment_id"] for row in anew] == shown["id"]
    for name in anew[0].keys() & shown.keys() - {"vehicle_id"}:
        for row, value in zip(anew, shown[name], strict=True):
            if isinstance(value, float) and np.isnan(value):
                assert row[name] is None, name
            elif isinstance(value, float):
                assert row[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name
            else:
                assert row[name] == value, name


def test_use_is_as_it_is_stored_until_anything_changes(database, operator, clock, vehicles):
    def is_stored():
        with database.snapshot() as session:
            return current_usage(session, operator.organisation_id, vehicles).is_stored

    read(operator, "VAN-1", 10, 10_000.0)
    read(operator, "VAN-2", 10, 400.0)
    assert not is_stored()
    refresh(database, operator, clock)
    assert is_stored()
    read(operator, "VAN-2", 11, 500.0)
    assert not is_stored()
    refresh(database, operator, clock)
    assert is_stored()
    with database.transaction() as session:
        mark_stale(session, operator.organisation_id, vehicles[1:], clock.now())
    assert not is_stored()
    assert_like_a_replay(database, operator, vehicles)


def test_readings_after_every_event_leave_the_fluids_alone(database, operator, clock, vehicles, followed):
    read(operator, "VAN-1", 10, 10_000.0)
    change_fluid(operator, "VAN-1", 20, km=11_000.0)
    refresh(database, operator, clock)
    followed.clear()
    for day in range(30, 60, 5):
        read(operator, "VAN-1", day, 11_000.0 + 60.0 * (day - 20))
        assert_like_a_replay(database, operator, vehicles)
        refresh(database, operator, clock)
        assert_like_a_replay(database, operator, vehicles)
    assert followed == []


def test_a_reading_after_an_event_without_one_says_where_the_odometer_stood_then(
    database, operator, clock, vehicles, followed
):
    read(operator, "VAN-1", 10, 10_000.0)
    change_fluid(operator, "VAN-1", 20)
    refresh(database, operator, clock)
    followed.clear()
    read(operator, "VAN-1", 30, 11_000.0)
    assert_like_a_replay(database, operator, vehicles)
    refresh(database, operator, clock)
    assert followed == [vehicles[0]]
    assert_like_a_replay(database, operator, vehicles)
    read(operator, "VAN-1", 31, 11_050.0)
    refresh(database, operator, clock)
    assert followed == [vehicles[0]]


def test_a_reading_that_speaks_against_the_last_change_as_it_was_told_is_heard(database, operator, clock):
    """Also after readings of that very day, which may have been taken before the work."""
    key = int(operator.post("/v1/vehicles", {"vehicle": "VAN-3", "class": "van"}).json()["id"].split("_")[1])
    on = (FIRST_DAY + timedelta(days=20)).date().isoformat()
    told = {"kind": "axle", "last_service_on": on, "last_service_odometer_km": 110_600.0}
    axle = operator.post("/v1/vehicles/VAN-3/compartments", told).json()["id"]
    for day, km in ((10, 10_000.0), (20, 10_600.0), (20.1, 10_606.0), (21.2, 10_660.0), (22, 10_720.0)):
        read(operator, "VAN-3", day, km)
        refresh(database, operator, clock)
        assert_like_a_replay(database, operator, [key])
    steps = operator.get(f"/v1/compartments/{axle}/history").json()["steps"]
    assert 10_500.0 < steps[-1]["after"]["schedule_since_odometer_km"] <= 10_600.0


def test_the_first_engine_hours_after_an_event_are_asked_of_it(database, operator, clock, vehicles, followed):
    read(operator, "VAN-1", 10, 10_000.0)
    change_fluid(operator, "VAN-1", 20, km=10_500.0)
    refresh(database, operator, clock)
    followed.clear()
    read(operator, "VAN-1", 30, 11_000.0, hours=900.0)
    refresh(database, operator, clock)
    assert followed == [vehicles[0]]
    assert_like_a_replay(database, operator, vehicles)


def test_dates_of_services_move_with_the_time_zone(database, operator, clock, vehicles):
    read(operator, "VAN-1", 10, 10_000.0)
    change_fluid(operator, "VAN-1", 20, km=10_500.0)
    refresh(database, operator, clock)
    for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):
        answer = operator.patch("/v1/organisation", {"time_zone": zone})
        assert answer.status_code == 200, answer.text
        refresh(database, operator, clock)
        assert_like_a_replay(database, operator, vehicles)


def test_a_grade_is_read_anew_when_the_fluid_turns_out_to_be_dyed(
    database, operator, clock, vehicles, followed
):
    fluid = {"fluid": "ATF-1", "kind": "automatic_transmission_car", "is_dyed": False}
    assert operator.post("/v1/fluids", fluid).status_code == 201
    second = {
        "compartment": "rear gearbox",
        "kind": "automatic_transmission_car",
        "total_litres": 9.0,
        "fluid": "ATF-1",
    }
    assert operator.post("/v1/vehicles/VAN-1/compartments", second).status_code == 201
    read(operator, "VAN-1", 10, 10_000.0)
    work = {"vehicle": "VAN-1", "done_at": (FIRST_DAY + timedelta(days=20)).isoformat(), "odometer": 10_500.0}
    change = {
        "compartment": "rear gearbox",
        "method": "drain_and_fill",
        "fluid": "ATF-1",
        "rounds": [{"drained_litres": 4, "filled_litres": 4}],
        "old_fluid_grade": "brown",
    }
    answer = operator.post("/v1/services", work | {"compartments": [change], "late_entry": True})
    assert answer.status_code == 201, answer.text
    refresh(database, operator, clock)
    followed.clear()
    answer = operator.patch("/v1/fluids/ATF-1", {"is_dyed": True})
    assert answer.status_code == 200, answer.text
    refresh(database, operator, clock)
    assert followed == [vehicles[0]]
    assert_like_a_replay(database, operator, vehicles)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_whatever_comes_in_whatever_order_the_states_are_those_of_a_replay(
    database, operator, clock, vehicles, seed
):
    """Readings with and without hours, late, wrong, decided by hand, services between them, refreshed now and then."""
    rng = np.random.default_rng(seed)
    for day in range(1, 60):
        name, at = NAMES[rng.integers(2)], day + (0.0 if rng.random() < 0.8 else -float(rng.integers(5, 40)))
        at = max(at, 0.5) + 0.2
        match rng.integers(6):
            case 0:
                change_fluid(operator, name, at)
            case 1:
                read(operator, name, at, 20_000.0 + 55.0 * at, hours=round(1_000.0 + at, 2))
            case 2:
                read(operator, name, at, float(rng.choice([200_000.0, 300.0])))
            case 3:
                _decide_any(database, operator, clock, rng)
            case _:
                read(operator, name, at, round(20_000.0 + 55.0 * at, 1))
        if rng.random() < 0.5:
            refresh(database, operator, clock)
        if day % 3 == 0:
            assert_like_a_replay(database, operator, vehicles)
    refresh(database, operator, clock)
    assert_like_a_replay(database, operator, vehicles)


def _decide_any(database, operator, clock, rng):
    rows = operator.get("/v1/readings?limit=500").json()["readings"]
    own = [row["id"] for row in rows if row["source"] == "api"]
    if own:
        caller = system_caller(operator.organisation_id, "test")
        with database.transaction() as session:
            decision = str(rng.choice(["discard", "release"]))
            decide_reading(session, caller, clock.now(), str(rng.choice(own)), decision)
