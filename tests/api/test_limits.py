"""Limits for laboratory values through the API: defaults with their sources, own ones over them, and back."""

import pytest

HEAVY = "automatic_transmission_heavy"
VISCOSITY = "viscosity_100c_mm2_per_s"
OWN = {"caution": 0.1, "critical": 0.2, "source": "98th percentile of our own buses"}


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "BUS-1", "class": "bus"})
    facts = {"compartment": "gearbox", "kind": HEAVY, "total_litres": 8.0, "drainable_litres": 4.0}
    assert operator.post("/v1/vehicles/BUS-1/compartments", facts).status_code == 201
    return operator


def put(operator, laboratory_property, body, kind=HEAVY):
    return operator.put(f"/v1/limits/{kind}/{laboratory_property}", body)


def limits(operator, laboratory_property, kind=HEAVY):
    rows = operator.get(f"/v1/limits?kind={kind}").json()["limits"]
    assert {row["kind"] for row in rows} == {kind}
    return [row for row in rows if row["property"] == laboratory_property]


def record(operator, hour=10, **values):
    body = {
        "vehicle": "BUS-1",
        "compartment": "gearbox",
        "taken_at": f"2026-05-01T{hour}:00:00+02:00",
        "laboratory": values,
        "new_values": {VISCOSITY: 7.2},
    }
    answer = operator.post("/v1/samples", body)
    assert answer.status_code == 201, answer.text
    return answer.json()


def refused_at(answer):
    assert answer.status_code == 422, answer.text
    return {error["pointer"] for error in answer.json()["errors"]}


def test_a_default_comes_with_its_flag_and_source(operator):
    """Viscosity 25 % off condemns: published in an operator's manual of a heavy automatic transmission."""
    (viscosity,) = limits(operator, VISCOSITY)
    assert (viscosity["critical"], viscosity["basis"], viscosity["unit"]) == (
        0.25,
        "change_fraction",
        "fraction",
    )
    assert viscosity["flag"] == "published"
    assert "Operator's manual" in viscosity["source"]
    assert (viscosity["set_by"], viscosity["set_at"]) == (None, None)
    (iron,) = limits(operator, "iron_mg_per_kg")
    assert (iron["unit"], iron["flag"]) == ("mg/kg", "from memory")


def test_without_a_kind_all_limits_are_listed(operator):
    kinds = {row["kind"] for row in operator.get("/v1/limits").json()["limits"]}
    assert {HEAVY, "brake_fluid", "engine_oil_petrol"} <= kinds


def test_an_own_limit_takes_the_place_of_the_default_until_it_is_deleted(operator):
    before = limits(operator, VISCOSITY)
    answer = put(operator, VISCOSITY, OWN)
    assert answer.status_code == 200, answer.text
    (own,) = limits(operator, VISCOSITY)
    assert own == answer.json()
    assert {name: own[name] for name in OWN} == OWN
    assert (own["basis"], own["flag"]) == ("change_fraction", "own data")
    assert own["default"]["critical"] == before[0]["critical"]
    assert own["set_by"]
    again = put(operator, VISCOSITY, OWN | {"critical": 0.3})
    assert (again.status_code, again.json()["critical"]) == (200, 0.3)
    assert len(limits(operator, VISCOSITY)) == 1
    assert operator.delete(f"/v1/limits/{HEAVY}/{VISCOSITY}").status_code == 204
    assert limits(operator, VISCOSITY) == before
    assert operator.delete(f"/v1/limits/{HEAVY}/{VISCOSITY}").status_code == 404


def test_a_limit_on_another_basis_stands_beside_the_default(operator):
    assert (
        put(operator, VISCOSITY, {**OWN, "basis": "value_falling", "caution": 6, "critical": 5}).status_code
        == 200
    )
    assert [row["basis"] for row in limits(operator, VISCOSITY)] == ["change_fraction", "value_falling"]


def test_a_property_without_a_default_can_have_a_limit(operator):
    answer = put(operator, "silicon_mg_per_kg", {"caution": 20, "critical": 40, "source": "our own history"})
    assert (answer.json()["basis"], answer.json()["default"]) == ("value", None)


def test_samples_are_held_against_the_limits_in_force(fleet):
    """15 % off: under the manual's 20 %; with 20 % condemning it is a caution and 0.15/0.20 of the life (derived)."""
    first = record(fleet, **{VISCOSITY: 6.12})
    assert first["limits"] == []
    mean_before = first["life_used_after"]["mean"]
    put(fleet, VISCOSITY, OWN)
    sample = fleet.get(f"/v1/samples/{first['id']}").json()
    (reached,) = sample["limits"]
    assert (reached["level"], reached["flag"], reached["source"]) == ("caution", "own data", OWN["source"])
    # Scalar Kalman update with the laboratory's sd of 0.08: the same prior is drawn to 0.75 in place of 0.60.
    prior, sd = first["life_used_before"]["mean"], first["life_used_before"]["sd"]
    gain = sd**2 / (sd**2 + 0.08**2)
    assert mean_before == pytest.approx(prior + gain * (0.60 - prior), abs=2e-3)
    assert sample["life_used_after"]["mean"] == pytest.approx(prior + gain * (0.75 - prior), abs=2e-3)
    (row,) = fleet.get("/v1/vehicles/BUS-1/projection").json()["compartments"]
    assert row["life_used"]["p50"] == pytest.approx(sample["life_used_after"]["mean"], abs=0.01)


def test_a_stricter_water_limit_makes_a_new_sample_contaminated(fleet):
    assert not record(fleet, water_fraction=0.0015)["is_contaminated"]
    body = {"caution": 0.0005, "critical": 0.001, "source": "ours"}
    assert put(fleet, "water_fraction", body).status_code == 200
    assert record(fleet, hour=11, water_fraction=0.0015)["is_contaminated"]


def test_a_limit_that_the_new_fluid_has_passed_breaks_nothing(fleet):
    body = {**OWN, "basis": "value", "caution": 5, "critical": 6}
    assert put(fleet, VISCOSITY, body).status_code == 200
    assert {reached["basis"] for reached in record(fleet, **{VISCOSITY: 7.0})["limits"]} == {"value"}


def test_other_organisations_keep_their_own(operator, join):
    put(operator, VISCOSITY, OWN)
    assert [row["flag"] for row in limits(join("Another"), VISCOSITY)] == ["published"]


@pytest.mark.parametrize(
    ("laboratory_property", "change", "pointer"),
    [
        (VISCOSITY, {"caution": 0.3}, "/critical"),  # rising: caution lies below critical
        (VISCOSITY, {"basis": "left_fraction"}, "/critical"),  # falling: above it
        (VISCOSITY, {"basis": "left_fraction", "caution": 2}, "/caution"),
        ("iron_mg_per_kg", {"critical": 1e6}, "/critical"),
        ("iron_mg_per_kg", {"caution": 0}, "/caution"),
        ("water_fraction", {"critical": 5}, "/critical"),  # percent taken for a share
        (VISCOSITY, {"critical": "0.2"}, "/critical"),
        (VISCOSITY, {"source": ""}, "/source"),
        (VISCOSITY, {"basis": "guess"}, "/basis"),
        (VISCOSITY, {"flag": "published"}, "/flag"),
    ],
)
def test_limits_that_cannot_be_meant_are_refused(operator, laboratory_property, change, pointer):
    before = limits(operator, laboratory_property)
    assert pointer in refused_at(put(operator, laboratory_property, {**OWN, **change}))
    assert limits(operator, laboratory_property) == before


@pytest.mark.parametrize("path", [f"{HEAVY}/colour", f"ketchup/{VISCOSITY}"])
def test_unknown_kinds_and_properties_are_refused(operator, path):
    assert operator.put(f"/v1/limits/{path}", OWN).status_code == 422
    assert operator.delete(f"/v1/limits/{path}").status_code == 422


def test_every_change_is_on_record(operator):
    put(operator, VISCOSITY, OWN)
    operator.delete(f"/v1/limits/{HEAVY}/{VISCOSITY}")
    entries = [
        row for row in operator.get("/v1/audit").json()["entries"] if row["object_type"] == "alarm limit"
    ]
    assert {row["action"] for row in entries} == {"set", "reset"}
    detail = next(row["detail"] for row in entries if row["action"] == "set")
    assert (detail["before"], detail["after"]["critical"]) == (None, 0.2)
