"""Policies for a class of vehicles through the API, checked against derived values and closed forms."""

import math

import pytest
from scipy.integrate import quad
from scipy.stats import lognorm

# φ .42, γ 1e-5/km, 4.2 L a round at 9.00/L, visit 35.00, a round's work 12.00, failure 3,800.00, η 4e5 km, b 3.
CHECK = {
    "kind": "automatic_transmission_car",
    "class": "van",
    "total_litres": 10.0,
    "drainable_litres": 4.2,
    "life_used_per_km": 1e-5,
    "life_used_per_day": 0.0,
    "life_coefficient_of_variation": 0.0,
    "highest_life_used": 1.0,
    "km_per_day": 70.0,
    "price_minor_per_litre": 900,
    "disposal_minor_per_litre": 0,
    "labour_minor_per_hour": 3600,
    "visit_minor": 3500,
    "visit_minutes": 0.0,
    "round_minutes": 20.0,
    "failure_minor": 380_000,
    "hazard_shape": 3.0,
    "hazard_scale_km": 4e5,
}
DAYS = 730.5


def plan(operator, **changes):
    answer = operator.post("/v1/policies", {**CHECK, **changes})
    assert answer.status_code == 200, answer.text
    return answer.json()


def refused_at(operator, **changes):
    answer = operator.post("/v1/policies", {**CHECK, **changes})
    assert answer.status_code == 422, answer.text
    return {error["pointer"] for error in answer.json()["errors"]}


def test_two_rounds_every_43_890_5_km(operator):
    """Optimum of the renewal-reward form, derived: A/τ + B τ³ at τ* = (A/(3 B))^{1/4}."""
    body = plan(operator)
    best = body["recommended"]
    assert best["rounds"] == 2
    assert best["interval_km"] == pytest.approx(43_890.5307, abs=0.05)
    assert best["cost_minor_per_1000_km"] == pytest.approx(408.89610, abs=1e-4)
    assert [row["cheapest_km"] for row in body["options"][:4]] == pytest.approx(
        [25_420.9236, 43_890.5307, 57_429.7501, 67_152.3410], abs=0.05
    )
    assert [row["cost_minor_per_1000_km"] for row in body["options"][:4]] == pytest.approx(
        [444.77797, 408.89610, 428.11725, 465.01233], abs=1e-4
    )
    assert [row["rounds"] for row in body["options"]] == [1, 2, 3, 4, 5, 6]
    assert body["why"].startswith("2 rounds every 43,900 km")


def test_the_flat_range_costs_two_percent_more_at_its_ends(operator):
    """Driven to its steady state: hazard (c)³/4e5 integrated between c₁(1-φ)² and c₁ by scipy's quadrature."""
    best = plan(operator)["recommended"]

    def cost(km):
        start = 0.58**2 / (1 - 0.58**2) * 1e-5 * km
        failures = quad(lambda x: (start + 1e-5 * x) ** 3 / 4e5, 0.0, km)[0]
        return (3500 + 2 * (1200 + 4.2 * 900) + 380_000 * failures) / km

    for edge in (best["flat_from_km"], best["flat_to_km"]):
        assert 1000 * cost(edge) == pytest.approx(1.02 * best["cost_minor_per_1000_km"], rel=1e-5)


def test_the_hazard_belongs_to_the_fluid_not_to_the_limit(operator):
    """A stricter limit that does not bind changes nothing: 0.9 of life used holds from 59,724 km on (derived)."""
    strict, lax = plan(operator, highest_life_used=0.9), plan(operator)
    assert strict["recommended"]["interval_km"] == lax["recommended"]["interval_km"]
    assert strict["recommended"]["longest_km"] == pytest.approx(0.9 * (1 - 0.58**2) * 1e5, abs=0.1)


def test_the_limit_holds_with_the_wanted_probability(operator):
    """Lognormal ageing with mean 1e-5 and cv 0.4: its 95 % point from scipy keeps (1-ρ) 0.5 / γ95."""
    body = plan(
        operator,
        life_coefficient_of_variation=0.4,
        highest_life_used=0.5,
        compliance_probability=0.95,
    )
    sd = math.sqrt(math.log1p(0.4**2))
    fast = lognorm.ppf(0.95, sd, scale=1e-5 * math.exp(-0.5 * sd**2))
    best = body["recommended"]
    kept = 0.58 ** best["rounds"]
    assert best["is_held_by_limit"]
    assert best["interval_km"] == pytest.approx((1 - kept) * 0.5 / fast, rel=1e-3)
    assert "The limit sets the interval" in body["why"]


def test_the_longest_interval_allowed_is_kept(operator):
    body = plan(operator, longest_interval_km=20_000.0)
    assert {row["interval_km"] for row in body["options"]} == {20_000.0}
    assert "that you allow" in body["why"]


def test_24_months_of_two_policies(operator):
    """Steady saw-tooth of a typed-in policy, closed form: visits, litres, cost, share of time above the limit."""
    body = plan(operator, highest_life_used=0.5, own_policy={"rounds": 1, "interval_km": 30_000.0})
    own, proposed = body["months_24_own"], body["months_24"]
    visits = DAYS * 70 / 30_000
    peak = 1e-5 * 30_000 / 0.42
    # 41 positions between two visits stand for all: half a position is 0.0122 of a visit.
    assert own["visits"] == pytest.approx(visits, abs=0.0123)
    assert own["litres"] == pytest.approx(4.2 * own["visits"], abs=1e-3)
    assert own["cost_minor"] == pytest.approx((3500 + 1200 + 4.2 * 900) * own["visits"], abs=1)
    assert own["share_of_time_above_limit"] == pytest.approx((peak - 0.5) / 0.3, abs=0.01)
    assert own["mean_life_used"] == pytest.approx(peak - 0.15, abs=0.005)
    failures = quad(lambda x: (peak - 0.3 + 1e-5 * x) ** 3 / 4e5, 0.0, 30_000)[0]
    assert own["failure_cost_minor"] == pytest.approx(380_000 * failures * visits, abs=1)
    assert proposed["share_of_time_above_limit"] == 0
    assert proposed["interval_km"] == body["recommended"]["interval_km"]
    assert "Over 24 months" in body["comparison"]


def test_what_would_change_it_agrees_with_asking_again(operator):
    sentence = next(line for line in plan(operator)["what_would_change"] if "failure" in line)
    again = plan(operator, failure_minor=760_000)["recommended"]
    assert f"{again['rounds']} rounds would cost least" in sentence
    assert f"{round(again['interval_km'], -2):,.0f} km" in sentence


def test_whatever_is_not_given_is_listed_with_flag_and_source(operator):
    answer = operator.post("/v1/policies", {"kind": "automatic_transmission_heavy", "class": "bus"})
    assert answer.status_code == 200, answer.text
    body = answer.json()
    numbers = {row["name"]: row for row in body["numbers"]}
    assert set(CHECK) - {"kind", "class"} <= set(numbers)
    assert all(row["flag"] and row["source"] and not row["is_given"] for row in numbers.values())
    assert body["recommended"]["peak_life_used"] <= numbers["highest_life_used"]["value"]
    assert body["months_24_own"] is None
    given = {row["name"] for row in plan(operator)["numbers"] if row["is_given"]}
    assert given == set(CHECK) - {"kind", "class"}


@pytest.mark.parametrize("kind", ["brake_fluid", "hydraulic", "engine_oil_petrol", "coolant_oat"])
@pytest.mark.parametrize("vehicle_class", ["car", "tractor"])
def test_every_kind_has_an_answer(operator, kind, vehicle_class):
    body = operator.post("/v1/policies", {"kind": kind, "class": vehicle_class, "duty": "severe"}).json()
    costs = [row["cost_minor_per_1000_km"] for row in body["options"]]
    assert body["recommended"]["cost_minor_per_1000_km"] == min(costs)


def test_without_a_failure_cost_only_the_limit_sets_the_interval(operator):
    """(1 - ρ)/γ; derived."""
    body = plan(operator, failure_minor=0)
    assert [row["interval_km"] for row in body["options"][:2]] == pytest.approx([42_000.0, 66_360.0], abs=0.1)
    assert (body["options"][0]["cheapest_km"], body["flatness"]) == (None, None)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"drainable_litres": 11.0}, "/drainable_litres"),
        ({"life_used_per_km": 0.0}, "/life_used_per_km"),
        ({"visit_minor": 0, "labour_minor_per_hour": 0, "price_minor_per_litre": 0}, "/visit_minor"),
        ({"own_policy": {"rounds": 1, "interval_km": 100.0}, "km_per_day": 500.0}, "/own_policy/interval_km"),
        ({"own_policy": {"rounds": 7, "interval_km": 9000.0}}, "/own_policy/rounds"),
        ({"compliance_probability": 1.0}, "/compliance_probability"),
        ({"km_per_day": 0.0}, "/km_per_day"),
        ({"km_per_day": -70.0}, "/km_per_day"),
        ({"total_litres": "10"}, "/total_litres"),
        ({"kind": "ketchup"}, "/kind"),
        ({"litres": 4.0}, "/litres"),
    ],
)
def test_numbers_that_cannot_be_meant_are_refused(operator, change, pointer):
    assert pointer in refused_at(operator, **change)


def test_an_interval_that_nobody_could_work_is_refused(operator):
    answer = operator.post(
        "/v1/policies",
        {**CHECK, "failure_minor": 1_000_000_000, "hazard_scale_km": 1000.0, "life_used_per_km": 0.05},
    )
    assert answer.status_code == 422
    assert "too short" in answer.json()["detail"]


def test_prices_that_the_organisation_set_are_told_as_its_own(operator):
    terms = {"labour_minor_an_hour": 12_000, "fluid_minor_a_litre": 2_000, "visit_minor": 100}
    assert operator.patch("/v1/planning-terms", {"terms": terms}).status_code == 200
    asked = {"kind": "automatic_transmission_car", "class": "van"}
    answer = operator.post("/v1/policies", asked).json()
    numbers = {number["name"]: (number["value"], number["flag"]) for number in answer["numbers"]}
    assert numbers["labour_minor_per_hour"] == (12_000, "own data")
    assert numbers["price_minor_per_litre"] == (2_000, "own data")
    assert numbers["visit_minor"] == (100, "own data")
