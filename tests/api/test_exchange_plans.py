"""Exchange plans through the API: what each way leaves, costs and lasts, checked against derived values."""

from datetime import timedelta

import pytest

SAME_TEMPERATURE = {"ambient_celsius": 15, "level_celsius": 15}


def plan(operator, **numbers):
    answer = operator.post("/v1/exchange-plans", numbers)
    assert answer.status_code == 200, answer.text
    return answer.json()


def old_shares(body):
    return [1 - option["fresh_share"] for option in body["options"]]


@pytest.mark.parametrize(
    ("total", "drained", "old_after", "for_a_quarter", "for_a_tenth"),
    [
        (8, 4, (0.5, 0.25, 0.125, 0.03125), 2, 4),
        (9, 3.5, (0.611111, 0.373457, 0.228224, 0.085232), 3, 5),
        (10, 4, (0.6, 0.36, 0.216, 0.07776), 3, 5),
        (12, 4, (0.666667, 0.444444, 0.296296, 0.131687), 4, 6),
        (6.6, 4.5, (0.318182, 0.101240, 0.032213, 0.003261), 2, 3),
    ],
)
def test_rounds_leave_the_share_of_ideal_mixing(
    operator, total, drained, old_after, for_a_quarter, for_a_tenth
):
    """(1 - d/V)^n, derived from mass balance; 10 L with 4 L drained agrees with an owners' worked case (60 %, 36 %).

    The last row is the transaxle of a maker's manual: two rounds leave 10.1 %, so a tenth takes three.
    """
    body = plan(operator, total_litres=total, drainable_litres=drained, target_fresh_share=0.75)
    shares = old_shares(body)
    assert [shares[0], shares[1], shares[2], shares[4]] == pytest.approx(old_after, abs=1e-6)
    assert body["rounds_needed"] == for_a_quarter
    body = plan(operator, total_litres=total, drainable_litres=drained, target_fresh_share=0.9)
    assert body["rounds_needed"] == for_a_tenth
    assert body["options"][2]["fresh_share_after_each_round"] == pytest.approx(
        [1 - share for share in old_after[:3]], abs=1e-6
    )


@pytest.mark.parametrize(
    ("efficiency", "old_after"),
    [
        (1.0, (0.55556, 0.30864, 0.17147)),
        (0.9, (0.55556, 0.32444, 0.19004)),
        (0.5, (0.55556, 0.38765, 0.28472)),
        (0.0, (0.55556, 0.46667, 0.44889)),
    ],
)
def test_a_converter_that_hardly_mixes_keeps_its_fluid(operator, efficiency, old_after):
    """Sump of 5 L and converter of 4 L, 4 L a round; derived from mass balance of two vessels."""
    body = plan(
        operator, total_litres=9, drainable_litres=4, converter_litres=4, mixing_efficiency=efficiency
    )
    assert old_shares(body)[:3] == pytest.approx(old_after, abs=1e-5)


@pytest.mark.parametrize(("turnovers", "old"), [(0.5, 0.55182), (1, 0.27067), (1.5, 0.12447), (2, 0.05495)])
def test_a_line_exchange_behaves_like_two_tanks_in_series(operator, turnovers, old):
    """f = (1 + θ) e^{-2θ} for two tanks in series (derived from their residence times)."""
    body = plan(operator, total_litres=8, drainable_litres=4, line_litres=8 * turnovers)
    line = body["options"][6]
    assert line["method"] == "line_exchange"
    assert 1 - line["fresh_share"] == pytest.approx(old, abs=1e-5)


def test_life_used_after_and_its_spread(operator):
    """0.85 ± 0.15 with a share of 0.45 ± 0.07 exchanged: 0.4675 ± 0.101718 (derived: first-order error propagation)."""
    body = plan(
        operator,
        total_litres=10,
        drainable_litres=4.5,
        drainable_share_sd=0.07,
        old_life_used=0.85,
        old_life_used_sd=0.15,
    )
    one = body["options"][0]
    assert one["life_used_after"] == pytest.approx(0.4675, abs=1e-6)
    assert one["life_used_after_sd"] == pytest.approx(0.101718, abs=2e-5)


@pytest.mark.parametrize(
    ("litres", "ambient", "level", "density", "excess"),
    [(4, 20, 80, 850, 188.9), (4, 20, 80, 870, 184.3), (7, 20, 55, 850, 188.3), (7, 20, 80, 850, 330.6)],
)
def test_fluid_poured_cold_stands_too_high_at_the_level_check(
    operator, litres, ambient, level, density, excess
):
    """Table 54D form of ASTM D1250-04 for lubricating oils (constants second-hand), computed values in mL."""
    body = plan(
        operator,
        total_litres=9,
        drainable_litres=litres,
        ambient_celsius=ambient,
        level_celsius=level,
        density_15c_kg_per_m3=density,
    )
    assert body["options"][0]["excess_ml"] == pytest.approx(excess, abs=0.06)


def test_fewer_litres_are_poured_cold_than_came_out_warm(operator):
    """4 L needed at 40 °C are 3.9403 L poured at 20 °C, 850 kg/m³ (Table 54D form of ASTM D1250-04, computed)."""
    body = plan(
        operator,
        total_litres=8,
        drainable_litres=4,
        ambient_celsius=20,
        level_celsius=40,
        density_15c_kg_per_m3=850,
    )
    assert body["options"][0]["litres_in"] == pytest.approx(3.9403, abs=5e-5)
    assert body["options"][0]["litres_out"] == 4


def test_cost_and_labour_add_up(operator):
    """4 L at 10.00 and 65 minutes (20 to set up, 45 for one round) at 60.00 an hour."""
    body = plan(
        operator,
        total_litres=8,
        drainable_litres=4,
        price_minor_per_litre=1000,
        disposal_minor_per_litre=0,
        labour_minor_per_hour=6000,
        visit_minor=0,
        **SAME_TEMPERATURE,
    )
    one = body["options"][0]
    assert (one["labour_minutes"], one["cost_minor"]) == (65, 4 * 1000 + 6500)
    assert one["cost_minor_per_1000_km"] == pytest.approx(
        one["cost_minor"] / one["due_again"]["km"] * 1000, rel=1e-3
    )


def test_a_partial_exchange_cannot_keep_the_whole_interval_and_says_what_it_can(operator):
    """Repeated with the share 0.45 for ever, 0.45 of 60,000 km (derived: fixed point of u' = (1 - φ) u + ρ)."""
    body = plan(
        operator,
        total_litres=10,
        drainable_litres=4.5,
        km_per_day=100,
        interval_km=60_000,
        interval_months=120,
        target_fresh_share=0.4,
        visit_minor=0,
    )
    one = body["options"][0]
    assert (one["keepable_km"], one["keeps_full_interval"]) == (27_000, False)
    assert "60,000 km" in body["recommended"]["interval"]


def test_sentences_are_in_the_organisation_s_own_unit(operator):
    """27,000 and 60,000 km, to the next hundred miles of 1.609344 km."""
    assert operator.patch("/v1/organisation", {"distance_unit": "mi"}).status_code == 200
    body = plan(
        operator,
        total_litres=10,
        drainable_litres=4.5,
        km_per_day=100,
        interval_km=60_000,
        interval_months=120,
        target_fresh_share=0.4,
        visit_minor=0,
    )
    said = body["recommended"]["interval"]
    assert "16,800 mi between services, not the full interval of 37,300 mi" in said


def test_the_advice_has_a_reason_and_says_what_would_change_it(operator):
    body = plan(operator, total_litres=8, drainable_litres=4, old_life_used=0.8, target_fresh_share=0.7)
    advised = body["recommended"]
    assert advised["fresh_share"] >= 0.7
    reaching = [o for o in body["options"] if o["fresh_share"] >= 0.7 and o["is_available"]]
    assert advised["cost_minor_per_1000_km"] == min(o["cost_minor_per_1000_km"] for o in reaching)
    assert "costs least" in advised["why"]
    assert any("would cost the same" in sentence for sentence in advised["what_would_change"])
    assert "weeks" in body["return_visit"]["sentence"]
    assert any("drain plug" in caution for caution in body["cautions"])


def test_a_wanted_life_used_sets_the_target(operator):
    """From 0.8 to 0.2 three quarters must be new: two halves (derived)."""
    body = plan(operator, total_litres=8, drainable_litres=4, old_life_used=0.8, target_life_used=0.2)
    assert body["rounds_needed"] == 2
    assert body["recommended"]["life_used_after"] <= 0.2


def test_every_number_says_whether_it_was_given_stored_or_assumed(operator):
    body = plan(operator, kind="brake_fluid", total_litres=1.0)
    assert (body["basis"]["total_litres"], body["basis"]["density_15c_kg_per_m3"]) == ("given", "assumed")
    assert body["numbers"]["drainable_litres"] == pytest.approx(0.85)  # flush of brake fluid: common practice


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    fluid = {
        "fluid": "ATF-A",
        "kind": "automatic_transmission_car",
        "packs": [{"litres": 20, "price_minor": 16_500}],
    }
    operator.post("/v1/fluids", fluid)
    facts = {
        "compartment": "gearbox",
        "kind": "automatic_transmission_car",
        "fluid": "ATF-A",
        "total_litres": 8.0,
        "drainable_litres": 4.0,
        "interval_km": 80_000,
        "interval_months": 96,
        "last_service_on": "2025-05-01",
        "last_service_odometer_km": 60_000,
    }
    operator.gearbox = operator.post("/v1/vehicles/VAN-07/compartments", facts).json()["id"]
    rows = [
        {
            "vehicle": "VAN-07",
            "taken_at": f"2026-{month:02d}-01T08:00:00Z",
            "odometer": 80_000 + 2_000 * month,
        }
        for month in range(1, 6)
    ]
    operator.post("/v1/readings", {"readings": rows})
    return operator


def gearbox_of(operator):
    (gearbox,) = operator.get("/v1/vehicles/VAN-07/projection").json()["compartments"]
    return gearbox


def test_a_stored_compartment_brings_its_own_numbers(fleet):
    body = plan(fleet, compartment=fleet.gearbox)
    projected = gearbox_of(fleet)
    assert body["numbers"]["old_life_used"] == pytest.approx(projected["life_used"]["p50"], abs=1e-3)
    assert body["numbers"]["price_minor_per_litre"] == 825
    assert 30_000 < body["numbers"]["km_since_full_service"] < 31_500
    assert body["basis"]["km_per_day"] == body["basis"]["total_litres"] == "stored"
    typed = plan(fleet, compartment=fleet.gearbox, old_life_used=0.9)
    assert (typed["numbers"]["old_life_used"], typed["basis"]["old_life_used"]) == (0.9, "given")


def test_a_contaminated_compartment_is_told_to_find_the_cause_first(fleet):
    told = {"compartment": fleet.gearbox, "taken_at": "2026-05-02T08:00:00Z", "grade": "milky"}
    fleet.post("/v1/samples", told)
    body = plan(fleet, compartment=fleet.gearbox)
    assert "find the cause first" in body["recommended"]["why"]
    assert "opened and cleaned" in body["recommended"]["why"]
    assert body["return_visit"] is None
    assert gearbox_of(fleet)["recommended"]["rounds"] == body["recommended"]["rounds"]


def test_the_rounds_advised_for_a_contaminated_fluid_end_the_alarm_and_no_more(fleet):
    """Half is drained a round: 1 - 0.5^3 = 0.875 is the first above the 0.85 that ends the alarm (ideal mixing)."""
    sample = {"compartment": fleet.gearbox, "taken_at": "2026-05-02T08:00:00Z", "grade": "milky"}
    assert fleet.post("/v1/samples", sample).status_code == 201
    advised = gearbox_of(fleet)["recommended"]
    assert (advised["rounds"], advised["litres"]) == (3, 12)
    work = {
        "compartment": "gearbox",
        "method": "drain_and_fill",
        "fluid": "ATF-A",
        "old_fluid_grade": "milky",
    }
    work["rounds"] = [{"drained_litres": 4, "filled_litres": 4}] * advised["rounds"]
    done = {"vehicle": "VAN-07", "done_at": "2026-05-03T08:00:00Z", "compartments": [work]}
    assert fleet.post("/v1/services", done).status_code == 201
    assert gearbox_of(fleet)["limit"] != "contamination"


def test_a_sump_that_drains_nearly_all_is_filled_once_even_if_it_is_contaminated(fleet):
    """6.0 of 6.5 litres leave 8 % of the old oil."""
    oil = {
        "kind": "engine_oil_diesel_light",
        "compartment": "engine",
        "total_litres": 6.5,
        "drainable_litres": 6.0,
    }
    engine = fleet.post("/v1/vehicles/VAN-07/compartments", oil).json()["id"]
    fleet.post("/v1/samples", {"compartment": engine, "taken_at": "2026-05-02T08:00:00Z", "grade": "milky"})
    advised = plan(fleet, compartment=engine)["recommended"]
    assert (advised["method"], advised["rounds"]) == ("drain_and_fill", 1)
    assert "1 round leaves 8% of it, which ends the alarm" in advised["why"]


@pytest.mark.parametrize(
    ("numbers", "pointer"),
    [
        ({"total_litres": 4, "drainable_litres": 5}, "/drainable_litres"),
        ({"total_litres": 9, "drainable_litres": 6, "converter_litres": 4}, "/converter_litres"),
        ({"total_litres": -1}, "/total_litres"),
        ({"old_life_used": 3}, "/old_life_used"),
        ({"target_fresh_share": 1}, "/target_fresh_share"),
        ({"level_celsius": 400}, "/level_celsius"),
        ({"kind": "custard"}, "/kind"),
        ({"price": 4}, "/price"),
    ],
)
def test_numbers_that_cannot_be_are_refused_with_the_field(operator, numbers, pointer):
    answer = operator.post("/v1/exchange-plans", numbers)
    assert answer.status_code == 422, answer.text
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_another_organisation_s_compartment_cannot_be_planned(fleet, join):
    stranger = join("Another Invented Operator")
    assert stranger.post("/v1/exchange-plans", {"compartment": fleet.gearbox}).status_code == 404
    visit = {"rounds": 2, "after_days": 70}
    assert stranger.post(f"/v1/compartments/{fleet.gearbox}/return-visits", visit).status_code == 404


def test_an_accepted_return_visit_brings_the_due_date_forward_until_it_is_done(fleet, clock):
    path = f"/v1/compartments/{fleet.gearbox}/return-visits"
    before = gearbox_of(fleet)
    created = fleet.post(path, {"rounds": 2, "after_days": 70, "after_km": 200_000})
    assert created.status_code == 201, created.text
    assert created.json()["due_on"] == "2026-07-13"  # ten weeks after Monday 4 May 2026
    planned = gearbox_of(fleet)
    assert planned["due"]["p50"] == "2026-07-13"
    assert planned["limit"] == "calendar"
    assert planned["recommended"]["rounds"] == 2
    done = {
        "compartment": "gearbox",
        "fluid": "ATF-A",
        "rounds": [{"drained_litres": 4.0, "filled_litres": 4.0}] * 2,
    }
    fleet.post(
        "/v1/services", {"vehicle": "VAN-07", "done_at": "2026-05-01T08:00:00Z", "compartments": [done]}
    )
    assert gearbox_of(fleet)["due"]["p50"] == "2026-07-13"  # done before the visit was accepted
    clock.advance(timedelta(hours=1))
    fulfilled = {"vehicle": "VAN-07", "done_at": "2026-05-04T08:30:00Z", "compartments": [done]}
    assert fleet.post("/v1/services", fulfilled).status_code == 201
    assert gearbox_of(fleet)["due"]["p50"] != "2026-07-13"
    assert [row["state"] for row in fleet.get(path).json()["return_visits"]] == ["fulfilled"]
    assert before["due"]["p50"] != "2026-07-13"


def test_a_return_visit_never_puts_a_date_off_and_can_be_cancelled(fleet):
    path = f"/v1/compartments/{fleet.gearbox}/return-visits"
    before = gearbox_of(fleet)
    far = fleet.post(path, {"rounds": 1, "after_days": 3650}).json()
    assert gearbox_of(fleet)["due"] == before["due"]
    near = fleet.post(path, {"rounds": 3, "after_km": 500}).json()
    assert near["due_odometer_km"] == 90_500
    assert gearbox_of(fleet)["limit"] == "distance"
    assert gearbox_of(fleet)["recommended"]["rounds"] == 3
    for visit in (near, far):
        assert fleet.delete(f"/v1/return-visits/{visit['id']}").status_code == 204
    assert gearbox_of(fleet)["due"] == before["due"]
    assert fleet.delete(f"/v1/return-visits/{far['id']}").json()["type"] == "/problems/state-transition"


@pytest.mark.parametrize(
    "visit", [{"rounds": 2}, {"rounds": 0, "after_days": 70}, {"rounds": 2, "after_km": -5}]
)
def test_a_return_visit_must_say_when_and_how_much(fleet, visit):
    assert fleet.post(f"/v1/compartments/{fleet.gearbox}/return-visits", visit).status_code == 422


@pytest.mark.parametrize("density", [None, 600, 800.9, 1163.5, 1400])
@pytest.mark.parametrize("window", [(-60, -50), (-50, -49), (149, 150), (200, 210)])
@pytest.mark.parametrize(("total", "drained"), [(0.05, 0.05), (2000, 0.05), (2000, 2000)])
def test_whatever_is_stored_of_a_compartment_can_be_planned(operator, density, window, total, drained):
    """What the tables of expansion do not cover is refused where it is told, not where it is needed."""
    oil = {"fluid": "OIL", "kind": "automatic_transmission_car", "density_15c_kg_per_m3": density}
    is_told = operator.post("/v1/fluids", oil).status_code == 201
    assert is_told == (density not in {600, 1400})
    operator.post("/v1/vehicles", {"vehicle": "VAN-01", "class": "van"})
    place = {
        "compartment": "gearbox",
        "kind": "automatic_transmission_car",
        "fluid": "OIL" if is_told else None,
        "total_litres": total,
        "drainable_litres": drained,
        "level_min_celsius": window[0],
        "level_max_celsius": window[1],
    }
    told = operator.post("/v1/vehicles/VAN-01/compartments", place)
    assert (told.status_code == 201) == (window[0] >= -50 and window[1] <= 150), told.text
    if told.status_code == 201:
        answer = operator.post("/v1/exchange-plans", {"compartment": told.json()["id"]})
        assert answer.status_code == 200, answer.text


def test_prices_that_the_organisation_set_are_reckoned_with(operator):
    """Worked by hand: an hour and a litre dearer by 60.00 and 11.00 than before."""
    numbers = {"total_litres": 8, "drainable_litres": 4, **SAME_TEMPERATURE}
    usual = plan(operator, **numbers)["options"][1]
    terms = {"labour_minor_an_hour": 12_000, "fluid_minor_a_litre": 2_000}
    assert operator.patch("/v1/planning-terms", {"terms": terms}).status_code == 200
    own = plan(operator, **numbers)["options"][1]
    dearer = 6_000 * usual["labour_minutes"] / 60 + 1_100 * 8
    assert own["cost_minor"] - usual["cost_minor"] == pytest.approx(dearer, abs=1)
