"""A compartment's own life, and the oil temperatures that somebody logged."""

import pytest
from scipy import constants

from tests.api.test_history import with_van

LOGGED = [{"celsius": 80, "hours": 700}, {"celsius": 95, "hours": 250}, {"celsius": 115, "hours": 50}]
"""Invented; what follows from it is by the law of Arrhenius with 80 kJ/mol around 85 °C (common practice)."""


def expected_multiplier(logged, reference_celsius=85.0, joules_per_mol=80_000.0):
    """Mean of the rates, each by the law of Arrhenius with the gas constant of CODATA 2018."""
    zero, hours = constants.zero_Celsius, sum(one["hours"] for one in logged)
    slope = joules_per_mol / constants.R
    rates = (
        one["hours"]
        * 2.718281828459045 ** (slope / (reference_celsius + zero) - slope / (one["celsius"] + zero))
        for one in logged
    )
    return sum(rates) / hours


@pytest.fixture
def fleet(operator):
    return with_van(operator, "severe")


def change(fleet, **changes):
    answer = fleet.patch(f"/v1/compartments/{fleet.gearbox}", changes)
    assert answer.status_code == 200, answer.text
    return answer.json()


def life_used(fleet):
    return fleet.get(f"/v1/compartments/{fleet.gearbox}/history").json()["steps"][-1]["after"]["life_used"]


def test_temperatures_take_the_place_of_the_duty(fleet):
    """50,000 km of a life of 100,000 km, and two years of ten; the duty's 2 is not counted on top."""
    assert life_used(fleet) == pytest.approx(0.5 * 2.0 + 0.2, abs=1e-3)
    answer = change(fleet, oil_temperatures=LOGGED)
    assert answer["oil_temperatures"] == LOGGED
    multiplier = expected_multiplier(LOGGED)
    assert answer["wear_by_temperature"]["multiplier"] == pytest.approx(multiplier, rel=1e-9)
    assert life_used(fleet) == pytest.approx(0.5 * multiplier + 0.2, abs=1e-3)


def test_a_steady_temperature_says_itself(fleet):
    answer = change(fleet, oil_temperatures=[{"celsius": 97.5, "hours": 3}])
    assert answer["wear_by_temperature"]["as_at_celsius"] == pytest.approx(97.5, abs=1e-6)


def test_hotter_hours_bring_the_date_forward(fleet):
    change(fleet, interval_km=None, interval_months=None)

    def due():
        (compartment,) = fleet.get("/v1/vehicles/VAN-07/projection").json()["compartments"]
        return compartment["due"]["p50"]

    cool, hot = [{"celsius": 70, "hours": 10}], [{"celsius": 100, "hours": 10}]
    change(fleet, oil_temperatures=cool)
    late = due()
    change(fleet, oil_temperatures=hot)
    assert due() < late


def test_without_temperatures_the_duty_counts_again(fleet):
    before = life_used(fleet)
    change(fleet, oil_temperatures=LOGGED)
    answer = change(fleet, oil_temperatures=[])
    assert answer["wear_by_temperature"] is None
    assert life_used(fleet) == before


def test_a_life_of_its_own_replaces_the_usual_one(fleet):
    answer = change(fleet, life_km=200_000, life_months=240)
    assert (answer["life_km"], answer["life_months"], answer["life_hours"]) == (200_000, 240, None)
    assert life_used(fleet) == pytest.approx(0.25 * 2.0 + 0.1, abs=1e-3)
    assert change(fleet, life_km=None, life_months=None)["life_km"] is None
    assert life_used(fleet) == pytest.approx(0.5 * 2.0 + 0.2, abs=1e-3)


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"oil_temperatures": [{"celsius": 400, "hours": 1}]}, "/oil_temperatures/0/celsius"),
        ({"oil_temperatures": [{"celsius": 90, "hours": 0}]}, "/oil_temperatures"),
        ({"oil_temperatures": [{"celsius": 90, "hours": -1}]}, "/oil_temperatures/0/hours"),
        ({"oil_temperatures": [{"celsius": 150, "hours": 10}]}, "/oil_temperatures"),
        ({"oil_temperatures": None}, "/oil_temperatures"),
        ({"seals": None}, "/seals"),
        ({"life_km": 0}, "/life_km"),
    ],
)
def test_what_cannot_be_is_refused(fleet, changes, pointer):
    answer = fleet.patch(f"/v1/compartments/{fleet.gearbox}", changes)
    assert answer.status_code == 422, answer.text
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert fleet.get(f"/v1/compartments/{fleet.gearbox}").json()["oil_temperatures"] == []


def with_engine(operator, vehicle):
    operator.post("/v1/vehicles", {"vehicle": vehicle, "class": "tractor"})
    body = {"kind": "engine_oil_diesel_light", "interval_hours": 500}
    return operator.post(f"/v1/vehicles/{vehicle}/compartments", body).json()


def test_a_life_shorter_than_the_interval_is_told(operator):
    """400 running hours are the usual life: common practice, no source."""
    made = with_engine(operator, "TRACTOR-1")
    (told,) = made["warnings"]
    assert "after 400 running hours, before its interval of 500 running hours ends" in told
    assert "life_hours" in told
    longer = operator.patch(f"/v1/compartments/{made['id']}", {"life_hours": 700}).json()
    assert longer["warnings"] == []


def test_hours_that_nobody_reads_wear_nothing_out(operator):
    """Whose odometer alone is read ages by distance and time; the first hours that are read make them count."""
    path = f"/v1/compartments/{with_engine(operator, 'TRACTOR-1')['id']}"

    def warned_after(**reading):
        row = {"vehicle": "TRACTOR-1", **reading}
        answer = operator.post("/v1/readings", {"readings": [row]}).json()
        assert answer["accepted"] == 1, answer
        listed = operator.get("/v1/vehicles/TRACTOR-1/compartments").json()["compartments"]
        warnings = operator.get(path).json()["warnings"]
        assert [one["warnings"] for one in listed] == [warnings]
        return bool(warnings)

    assert not warned_after(taken_at="2026-04-01T08:00:00Z", odometer=4_000)
    assert warned_after(taken_at="2026-04-08T08:00:00Z", odometer=4_100, engine_hours=310)


@pytest.mark.parametrize("kind", ["brake_fluid", "hydraulic"])
def test_temperatures_are_refused_where_they_would_change_nothing(fleet, kind):
    made = fleet.post("/v1/vehicles/VAN-07/compartments", {"kind": kind, "oil_temperatures": LOGGED})
    assert made.status_code == 422, made.text
    assert made.json()["errors"][0]["pointer"] == "/oil_temperatures"


def test_the_last_change_is_given_back_as_it_was_told(fleet):
    told = {
        "last_service_on": "2025-03-01",
        "last_service_odometer_km": 41_200,
        "last_service_engine_hours": 4100,
    }
    made = fleet.post("/v1/vehicles/VAN-07/compartments", {"kind": "hydraulic"} | told).json()
    assert {name: made[name] for name in told} == told
    changed = fleet.patch(f"/v1/compartments/{made['id']}", {"last_service_on": None}).json()
    assert (changed["last_service_on"], changed["last_service_engine_hours"]) == (None, 4100)


def test_running_hours_alone_say_when_it_was_changed(fleet):
    """A tractor's book often has the hours and no date; they are no guess (bookkeeping, derived)."""
    body = {"kind": "hydraulic", "interval_hours": 500, "last_service_engine_hours": 4100}
    made = fleet.post("/v1/vehicles/VAN-07/compartments", body).json()
    steps = fleet.get(f"/v1/compartments/{made['id']}/history").json()["steps"]
    begin = steps[0]["after"]
    assert (begin["life_used"], begin["life_used_sd"]) == (0, 0)
    assert begin["schedule_since_engine_hours"] == 4100
