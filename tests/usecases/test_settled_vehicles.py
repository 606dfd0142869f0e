"""Vehicles about which nothing is in doubt are judged without their stored readings, and as they would be with them."""

from datetime import timedelta

import numpy as np
import pytest

from service.usecases.readings import doubtful_vehicles, record_readings
from tests.service_fixtures import START

FIRST_DAY = START - timedelta(days=600)
N_VEHICLES = 6


def reading(vehicle, day, km, **more):
    taken_at = (FIRST_DAY + timedelta(days=day)).isoformat()
    return {"vehicle": f"VAN-{vehicle}", "taken_at": taken_at, "odometer": round(km, 1)} | more


def register(operator):
    for vehicle in range(N_VEHICLES):
        operator.post("/v1/vehicles", {"vehicle": f"VAN-{vehicle}", "class": "van"})


def calls(seed):
    """Readings of vehicles that do 20 to 450 km a day, stand still for weeks, and now and then one with a mistake."""
    rng = np.random.default_rng(seed)
    pace, km, hours, day = rng.uniform(20, 450, N_VEHICLES), np.zeros(N_VEHICLES), np.zeros(N_VEHICLES), 0.0
    for number in range(60):
        rows = []
        for vehicle in range(N_VEHICLES):
            for _ in range(rng.integers(1, 3)):
                day += 0.1
                driven = 0.0 if (number + vehicle) % 17 > 13 else pace[vehicle] * rng.uniform(0.4, 1.5)
                km[vehicle] += driven
                hours[vehicle] += driven / 60.0
                shown = km[vehicle] * (10.0 if rng.random() < 0.01 else 1.0)
                late = 30.0 if rng.random() < 0.02 else 0.0
                more = (
                    {"engine_hours": round(hours[vehicle] * (rng.random() > 0.02), 1)} if vehicle % 2 else {}
                )
                rows.append(reading(vehicle, max(day - late, 0.0), 1000.0 + shown, **more))
        day += rng.choice([0.5, 2.0, 9.0])
        yield rows


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_answers_and_stored_values_are_those_of_the_careful_way(join, monkeypatch, seed):
    told = []
    for name in ("careful", "short"):
        if name == "careful":
            monkeypatch.setattr(
                record_readings, "may_be_settled", lambda _, ends: np.zeros(ends.size, dtype=bool)
            )
        else:
            monkeypatch.undo()
        operator = join(name)
        register(operator)
        answers = [operator.post("/v1/readings", {"readings": rows}).json() for rows in calls(seed)]
        kept = [
            operator.get(f"/v1/vehicles/VAN-{vehicle}/readings?limit=500").json()["readings"]
            for vehicle in range(N_VEHICLES)
        ]
        told.append((answers, [[{**row, "id": ""} for row in own] for own in kept]))
    assert told[0] == told[1]
    assert {row["outcome"] for own in told[0][1] for row in own} == {"accepted", "held"}


def test_later_readings_of_a_settled_vehicle_read_nothing_that_is_stored(operator, monkeypatch):
    register(operator)
    operator.post("/v1/readings", {"readings": [reading(0, day, 1000.0 + 400.0 * day) for day in range(40)]})

    def refuse(*_arguments):
        raise AssertionError

    monkeypatch.setattr(doubtful_vehicles, "load_readings", refuse)
    for day in range(40, 60):
        rows = [reading(0, day, 1000.0 + 400.0 * day), reading(1, day, 50.0 * day)]
        assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 2


def test_a_vehicle_settles_again_after_a_mistake(operator, monkeypatch):
    register(operator)
    rows = [reading(0, day, 1000.0 + 60.0 * day) for day in range(20)] + [reading(0, 20, 22_000.0)]
    rows += [reading(0, day, 1000.0 + 60.0 * day) for day in range(21, 45)]
    for start in range(0, len(rows), 5):
        operator.post("/v1/readings", {"readings": rows[start : start + 5]})
    monkeypatch.setattr(doubtful_vehicles, "load_readings", None)
    assert operator.post("/v1/readings", {"readings": [reading(0, 46, 3_760.0)]}).json()["accepted"] == 1
    held = operator.get("/v1/readings?outcome=held").json()["readings"]
    assert [row["odometer"] for row in held] == [22_000.0]


def test_a_reference_that_is_stored_already_is_found_by_the_key_of_the_table(operator):
    register(operator)
    rows = [reading(0, day, 1000.0 + 60.0 * day, reference=f"r{day}") for day in range(3)]
    operator.post("/v1/readings", {"readings": rows})
    rows = [
        reading(0, 4, 1240.0, reference="r4"),
        reading(0, 5, 1300.0, reference="r1"),
        reading(1, 4, 70.0, reference="r1"),
    ]
    results = operator.post("/v1/readings", {"readings": rows}).json()["results"]
    assert [(row["outcome"], row["reason"]) for row in results] == [
        ("accepted", None),
        ("rejected", "reference_reused"),
        ("accepted", None),
    ]
    rows = [reading(0, 6, 1360.0, reference="r6"), reading(1, 5, 130.0, reference="r5")]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 2
    assert operator.post("/v1/readings", {"readings": rows}).json()["duplicate"] == 2


def test_a_discarded_reading_is_no_ground_to_judge_the_next_one_by(operator):
    register(operator)
    rows = [reading(0, day, 1000.0 + 60.0 * day) for day in range(20)] + [reading(0, 30, 4_500.0)]
    last = operator.post("/v1/readings", {"readings": rows}).json()["results"][-1]
    assert last["outcome"] == "accepted"
    number = operator.get("/v1/vehicles/VAN-0/readings?limit=500").json()["readings"][-1]["id"]
    operator.patch(f"/v1/readings/{number}", {"decision": "discard"})
    rows = [reading(0, 32, 2_950.0)]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 1
