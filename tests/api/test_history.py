"""A compartment's history: each step says what it did to the state and why."""

from itertools import pairwise

import pytest

GEARBOX = {
    "compartment": "gearbox",
    "kind": "automatic_transmission_car",
    "total_litres": 8.0,
    "drainable_litres": 4.0,
    "interval_km": 80_000,
    "interval_months": 96,
    "last_service_on": "2024-05-02",
    "last_service_odometer_km": 40_000,
}
ROUND = {"drained_litres": 4.0, "filled_litres": 4.0}


def with_van(operator, duty):
    """A van of this duty with a gearbox, read once a year."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van", "duty": duty})
    operator.gearbox = operator.post("/v1/vehicles/VAN-07/compartments", GEARBOX).json()["id"]
    rows = [
        {"vehicle": "VAN-07", "taken_at": f"{day}T00:00:00Z", "odometer": km}
        for day, km in (("2024-05-02", 40_000), ("2025-05-02", 65_000), ("2026-05-02", 90_000))
    ]
    assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 3
    return operator


@pytest.fixture
def fleet(operator):
    return with_van(operator, "mixed")


def service(done_at, n_rounds=1, **more):
    done = {"compartment": "gearbox", "rounds": [ROUND] * n_rounds}
    return {"vehicle": "VAN-07", "done_at": done_at, "compartments": [done], **more}


def steps_of(operator):
    answer = operator.get(f"/v1/compartments/{operator.gearbox}/history")
    assert answer.status_code == 200, answer.text
    return answer.json()["steps"]


def test_ageing_and_exchanges_follow_the_published_law_step_by_step(fleet):
    """50,000 km at duty 1.3 of 100,000 km, plus two years of ten: 0.85; drained by half: 0.425; again: 0.2125.

    Derived: life used grows by 1.3 Δkm / 100,000 + Δt / 3652.5 d and mixes by volume.
    """
    fleet.post("/v1/services", service("2026-05-02T00:00:00Z", 2, done_by="J. Doe"))
    start, done, now = steps_of(fleet)
    days = 730  # from 2 May 2024 to 2 May 2026
    expected = 1.3 * 50_000 / 100_000 + days / 3652.5
    assert (start["event"], start["after"]["life_used"]) == ("start", 0)
    assert done["before"]["life_used"] == pytest.approx(expected, abs=1e-6)
    assert done["after"]["life_used"] == pytest.approx(expected / 4, abs=1e-6)
    assert (done["by"], done["figures"]["fresh_share"]) == ("J. Doe", 0.75)
    assert (done["figures"]["km_since"], done["figures"]["days_since"]) == (50_000, days)
    # A partial exchange is credited with its share: three quarters of two years (derived).
    assert done["after"]["schedule_since"] == "2025-10-31"
    assert done["after"]["schedule_since_odometer_km"] == 77_500
    assert "75%" in done["why"]
    assert "not by a whole interval" in done["why"]
    assert now["event"] == "now"


def test_a_correction_in_the_past_reaches_everything_that_follows(fleet):
    first = fleet.post("/v1/services", service("2025-05-02T00:00:00Z")).json()
    fleet.post("/v1/services", service("2026-05-02T00:00:00Z"))
    both = steps_of(fleet)
    assert [step["event"] for step in both] == ["start", "service", "service", "now"]
    fleet.delete(f"/v1/services/{first['id']}")
    left = steps_of(fleet)
    assert [step["event"] for step in left] == ["start", "service", "now"]
    assert left[1]["after"]["life_used"] > both[2]["after"]["life_used"]


def test_each_step_begins_where_the_one_before_ended_but_for_ageing(fleet):
    fleet.post("/v1/services", service("2025-05-02T00:00:00Z"))
    fleet.post(
        "/v1/samples", {"compartment": fleet.gearbox, "taken_at": "2025-11-01T00:00:00Z", "grade": "brown"}
    )
    fleet.post("/v1/services", service("2026-05-02T00:00:00Z"))
    steps = steps_of(fleet)
    for earlier, later in pairwise(steps):
        assert later["before"]["life_used"] >= earlier["after"]["life_used"]
        assert later["before"]["schedule_since"] == earlier["after"]["schedule_since"]
    assert steps[2]["id"].startswith("smp_")
    assert "look" in steps[2]["why"]


def test_what_is_older_than_the_full_change_on_record_changes_nothing(fleet):
    old = service("2023-05-02T00:00:00Z", odometer=30_000)
    assert fleet.post("/v1/services", old).status_code == 201
    step = steps_of(fleet)[1]
    assert "Older than the full change" in step["why"]
    assert step["before"] == step["after"]


def test_nothing_known_of_the_past_is_said(fleet):
    axle = fleet.post("/v1/vehicles/VAN-07/compartments", {"kind": "axle"}).json()["id"]
    (start, _) = fleet.get(f"/v1/compartments/{axle}/history").json()["steps"]
    assert "Nothing is known of the past" in start["why"]
    assert start["after"]["life_used_sd"] == pytest.approx(0.29)


def test_another_organisation_s_compartment_has_no_history(fleet, join):
    stranger = join("Another Invented Operator")
    assert stranger.get(f"/v1/compartments/{fleet.gearbox}/history").status_code == 404
