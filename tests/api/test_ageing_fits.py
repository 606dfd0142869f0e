"""Ageing rates from the fleet's own samples: shown before they are accepted, and reversible."""

import pytest

SAMPLES = [("VAN-1", 15_000), ("VAN-2", 20_000), ("VAN-3", 25_000)]
GROUP = {"kind": "automatic_transmission_car", "duty": "normal", "class": "van"}


@pytest.fixture
def fleet(operator):
    """Three vans driven for a year from a full change on, whose fluid ages half as fast again as assumed.

    Expected is Δkm / 100,000 + Δt / 3652.5 d; antioxidant left of 1 - 0.75 u stands for life used u (25 % condemns,
    ASTM D7590 as quoted).
    """
    for name, km in SAMPLES:
        operator.post("/v1/vehicles", {"vehicle": name, "class": "van"})
        facts = {
            "kind": "automatic_transmission_car",
            "compartment": "gearbox",
            "last_service_on": "2025-04-01",
            "last_service_odometer_km": 50_000,
        }
        operator.post(f"/v1/vehicles/{name}/compartments", facts)
        rows = [
            {"vehicle": name, "taken_at": f"{year}-04-01T00:00:00Z", "odometer": odometer}
            for year, odometer in ((2025, 50_000), (2026, 50_000 + km))
        ]
        assert operator.post("/v1/readings", {"readings": rows}).json()["accepted"] == 2
        life_used = 1.5 * (km / 100_000 + 365 / 3652.5)
        values = {"antioxidant_left_fraction": 1 - 0.75 * life_used}
        told = {
            "vehicle": name,
            "compartment": "gearbox",
            "taken_at": "2026-04-01T00:00:00Z",
            "laboratory": values,
        }
        assert operator.post("/v1/samples", told).status_code == 201
    return operator


def life_used(operator, name="VAN-1"):
    (gearbox,) = operator.get(f"/v1/vehicles/{name}/projection").json()["compartments"]
    return gearbox["life_used"]["p50"]


def test_the_samples_own_rate_is_found_and_drawn_towards_the_default(fleet):
    (proposal,) = fleet.get("/v1/ageing-fits/proposal").json()["proposals"]
    assert {name: proposal[name] for name in GROUP} == GROUP
    assert (proposal["n_samples"], proposal["multiplier_before"]) == (3, 1)
    assert proposal["multiplier_observed"] == pytest.approx(1.5, abs=1e-3)  # every sample says so (derived)
    assert 1.0 < proposal["multiplier_proposed"] < 1.5
    assert "faster" in proposal["sentence"]


def test_nothing_changes_until_somebody_accepts_and_all_of_it_can_be_taken_back(fleet):
    fleet.post("/v1/vehicles", {"vehicle": "VAN-4", "class": "van"})
    facts = {"kind": GROUP["kind"], "last_service_on": "2024-05-04", "last_service_odometer_km": 10_000}
    fleet.post("/v1/vehicles/VAN-4/compartments", facts)
    (proposal,) = fleet.get("/v1/ageing-fits/proposal").json()["proposals"]
    before = life_used(fleet, "VAN-4")
    accepted = fleet.post("/v1/ageing-fits", GROUP | {"multiplier": proposal["multiplier_proposed"]})
    assert accepted.status_code == 201, accepted.text
    # A life shorter by the multiplier is used up faster by it: no distance, days only (derived).
    assert life_used(fleet, "VAN-4") == pytest.approx(before * proposal["multiplier_proposed"], abs=2e-3)
    (listed,) = fleet.get("/v1/ageing-fits").json()["ageing_fits"]
    assert listed == accepted.json()
    (again,) = fleet.get("/v1/ageing-fits/proposal").json()["proposals"]
    assert again["multiplier_before"] == proposal["multiplier_proposed"]
    assert again["multiplier_observed"] == pytest.approx(1.5, abs=2e-3)  # still by the default rate
    assert fleet.delete(f"/v1/ageing-fits/{listed['id']}").status_code == 204
    assert life_used(fleet, "VAN-4") == before
    assert fleet.delete(f"/v1/ageing-fits/{listed['id']}").json()["type"] == "/problems/state-transition"


def test_only_what_was_shown_can_be_accepted(fleet):
    stale = fleet.post("/v1/ageing-fits", GROUP | {"multiplier": 1.05})
    assert (stale.status_code, stale.json()["type"]) == (412, "/problems/stale-version")
    unknown = fleet.post("/v1/ageing-fits", GROUP | {"class": "bus", "multiplier": 1.05})
    assert unknown.status_code == 422
    assert fleet.get("/v1/ageing-fits").json()["ageing_fits"] == []


def test_another_organisation_sees_and_changes_nothing_of_it(fleet, join):
    stranger = join("Another Invented Operator")
    assert stranger.get("/v1/ageing-fits/proposal").json()["proposals"] == []
    (proposal,) = fleet.get("/v1/ageing-fits/proposal").json()["proposals"]
    fit = fleet.post("/v1/ageing-fits", GROUP | {"multiplier": proposal["multiplier_proposed"]}).json()
    assert stranger.get("/v1/ageing-fits").json()["ageing_fits"] == []
    assert stranger.delete(f"/v1/ageing-fits/{fit['id']}").status_code == 404
