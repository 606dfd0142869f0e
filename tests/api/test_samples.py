"""Samples through the API: units converted, limits and rates told, contamination due now."""

import json

import pytest
from sqlmodel import select

from service.store.tables.projections import CompartmentState

GEARBOX = {
    "compartment": "gearbox",
    "kind": "automatic_transmission_heavy",
    "fluid": "ATF-H",
    "total_litres": 8.0,
    "drainable_litres": 4.0,
    "interval_km": 100_000,
    "partial_is_full": False,
}


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "BUS-1", "class": "bus"})
    operator.post("/v1/fluids", {"fluid": "ATF-H", "kind": "automatic_transmission_heavy", "is_dyed": True})
    operator.post("/v1/vehicles/BUS-1/compartments", GEARBOX)
    operator.post("/v1/vehicles/BUS-1/compartments", {"compartment": "brakes", "kind": "brake_fluid"})
    return operator


def sample(**more):
    return {"vehicle": "BUS-1", "compartment": "gearbox", "taken_at": "2026-05-01T10:00:00+02:00", **more}


def projected(operator, compartment="gearbox"):
    rows = operator.get("/v1/vehicles/BUS-1/projection").json()["compartments"]
    return next(row for row in rows if row["compartment"] == compartment)


def refusal(answer):
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return {error["pointer"]: error["detail"] for error in answer.json()["errors"]}


def test_laboratory_values_are_kept_in_one_unit_each(fleet):
    told = {"water_fraction": 0.05, "oxidation_abs_per_cm": 0.25, "iron_mg_per_kg": 96}
    units = {"water_fraction": "%", "oxidation_abs_per_cm": "A/0.1 mm", "iron_mg_per_kg": "ppm"}
    created = fleet.post("/v1/samples", sample(laboratory=told, units=units))
    assert created.status_code == 201, created.text
    # 25 abs/cm = 0.25 A/0.1 mm (derived from the cell's length); 1 ppm by mass = 1 mg/kg.
    assert created.json()["laboratory"] == {
        "water_fraction": pytest.approx(0.0005),
        "oxidation_abs_per_cm": pytest.approx(25),
        "iron_mg_per_kg": 96,
    }
    assert fleet.get(created.headers["Location"]).json() == created.json()


def test_a_laboratory_value_moves_the_estimate_by_its_weight(fleet):
    """15 % off in viscosity where 25 % condemns (an operator's manual) is 0.6 of the life; scalar Kalman update."""
    values = {"viscosity_100c_mm2_per_s": 6.12}
    body = fleet.post(
        "/v1/samples", sample(laboratory=values, new_values={"viscosity_100c_mm2_per_s": 7.2})
    ).json()
    before, after = body["life_used_before"], body["life_used_after"]
    gain = before["sd"] ** 2 / (before["sd"] ** 2 + 0.08**2)
    assert after["mean"] == pytest.approx(before["mean"] + gain * (0.6 - before["mean"]), abs=2e-4)
    assert after["sd"] == pytest.approx(before["sd"] * (1 - gain) ** 0.5, abs=2e-4)


def test_antioxidant_left_needs_no_value_of_the_new_fluid(fleet):
    """40 % left where 25 % condemns (ASTM D7590 as quoted) is 60/75 = 0.8 of the life (derived)."""
    body = fleet.post("/v1/samples", sample(laboratory={"antioxidant_left_fraction": 0.4})).json()
    before, after = body["life_used_before"], body["life_used_after"]
    gain = before["sd"] ** 2 / (before["sd"] ** 2 + 0.08**2)
    assert after["mean"] == pytest.approx(before["mean"] + gain * (0.8 - before["mean"]), abs=2e-4)


def test_limits_reached_are_told_with_their_source_and_how_far_it_can_be_trusted(fleet):
    body = fleet.post(
        "/v1/samples", sample(laboratory={"iron_mg_per_kg": 180, "water_fraction": 0.0001})
    ).json()
    (limit,) = body["limits"]
    assert (limit["property"], limit["level"], limit["critical"]) == ("iron_mg_per_kg", "caution", 250)
    assert limit["flag"] == "from memory"
    assert limit["source"]


@pytest.mark.parametrize(
    "seen",
    [
        {"grade": "W"},
        {"laboratory": {"coolant_fraction": 0.001}},
        {"laboratory": {"water_fraction": 0.3}, "units": {"water_fraction": "%"}},
    ],
    ids=["milky", "coolant", "water above 0.2 %"],
)  # fmt: skip
def test_a_contaminated_fluid_is_due_now_with_the_caution_that_belongs_to_it(fleet, clock, seen):
    body = fleet.post("/v1/samples", sample(**seen)).json()
    assert body["is_contaminated"] is True
    assert "Stop" in body["cautions"][0]
    gearbox = projected(fleet)
    assert gearbox["limit"] == "contamination"
    assert gearbox["due"]["p50"] == clock.now().date().isoformat()
    fleet.delete(f"/v1/samples/{body['id']}")
    assert projected(fleet)["limit"] != "contamination"


def test_values_are_told_in_the_words_of_the_standards_too(fleet):
    """Worked example of ASTM D2270-10(2016); counts of the table of ISO 4406; TRL report LR903 (published)."""
    values = {"viscosity_40c_mm2_per_s": 73.3, "viscosity_100c_mm2_per_s": 8.86}
    counts = {"particles_4um_per_ml": 2501, "particles_6um_per_ml": 641, "particles_14um_per_ml": 21}
    shown = fleet.post("/v1/samples", sample(laboratory={**values, **counts})).json()["grades"]
    assert [(one["standard"], one["grade"]) for one in shown] == [
        ("ASTM D2270", "92"),
        ("ISO 4406", "19/17/12"),
    ]
    brakes = fleet.post(
        "/v1/samples", sample(compartment="brakes", laboratory={"water_fraction": 0.03})
    ).json()
    assert [(one["standard"], one["grade"]) for one in brakes["grades"]] == [("TRL LR903", "145 °C")]


def test_as_much_water_as_a_fluid_may_hold_is_no_contamination(fleet):
    """Up to 0.2 % of condensate is normal in a heavy automatic transmission (its operator's manual)."""
    body = fleet.post("/v1/samples", sample(laboratory={"water_fraction": 0.002})).json()
    assert body["is_contaminated"] is False


def exchanged(operator, done_at, n_rounds):
    done = {"compartment": "gearbox", "rounds": [{"drained_litres": 4.0, "filled_litres": 4.0}] * n_rounds}
    told = {"vehicle": "BUS-1", "done_at": done_at, "compartments": [done]}
    assert operator.post("/v1/services", told).status_code == 201


def test_half_an_exchange_ends_no_alarm_and_a_full_one_does(fleet):
    """Half is drained a round: 1 - 0.5^2 = 0.75 is too little, 1 - 0.5^3 = 0.875 above 0.85 ends it (derived)."""
    fleet.post("/v1/samples", sample(grade="milky"))
    exchanged(fleet, "2026-05-02T08:00:00Z", n_rounds=2)
    assert projected(fleet)["limit"] == "contamination"
    exchanged(fleet, "2026-05-03T08:00:00Z", n_rounds=3)
    assert projected(fleet)["limit"] != "contamination"


def test_a_past_that_nobody_told_is_known_from_a_full_exchange_on(fleet, database):
    def is_known():
        with database.snapshot() as session:
            states = session.exec(select(CompartmentState).order_by(CompartmentState.compartment_id)).all()
        return states[0].is_history_known

    exchanged(fleet, "2026-05-02T08:00:00Z", n_rounds=1)
    assert not is_known()
    exchanged(fleet, "2026-05-03T08:00:00Z", n_rounds=3)
    assert is_known()


def test_a_clean_look_does_not_end_an_alarm_that_a_clean_analysis_ends(fleet):
    fleet.post("/v1/samples", sample(laboratory={"coolant_fraction": 0.01}))
    fleet.post("/v1/samples", sample(grade="clear", taken_at="2026-05-02T10:00:00Z"))
    assert projected(fleet)["limit"] == "contamination"
    fleet.post("/v1/samples", sample(laboratory={"iron_mg_per_kg": 5}, taken_at="2026-05-02T11:00:00Z"))
    assert projected(fleet)["limit"] == "contamination"  # nobody looked for coolant
    clean = {"coolant_fraction": 0, "water_fraction": 0}
    fleet.post("/v1/samples", sample(laboratory=clean, taken_at="2026-05-03T10:00:00Z"))
    assert projected(fleet)["limit"] != "contamination"


def test_a_good_colour_puts_no_date_off_and_a_bad_one_may_bring_it_forward(fleet):
    """As every job sheet says: colour is a dye that fades (common practice, no source)."""
    before = projected(fleet)
    good = fleet.post("/v1/samples", sample(grade="clear")).json()
    assert good["life_used_after"] == good["life_used_before"]
    assert all(day <= before["due"][name] for name, day in projected(fleet)["due"].items())
    bad = fleet.post("/v1/samples", sample(grade="black", taken_at="2026-05-02T10:00:00Z")).json()
    assert bad["life_used_after"]["mean"] > bad["life_used_before"]["mean"]
    assert projected(fleet)["life_used"]["p50"] > before["life_used"]["p50"]


def test_wet_brake_fluid_carries_the_caution_of_brakes(fleet):
    body = fleet.post("/v1/samples", sample(compartment="brakes", laboratory={"water_fraction": 0.05})).json()
    assert body["is_contaminated"] is True
    assert "boil" in body["cautions"][0]


@pytest.mark.parametrize(("new", "rate", "highest"), [(0, 0.5, 6.25), (10, 0.375, 6.0)])
def test_a_rate_of_change_counts_what_an_exchange_took_away(fleet, new, rate, highest):
    """8 L, 3.4 mg of iron in 1,000 km, half exchanged: 20, then 10, then 30 mg/kg; 0.5 mg/kg in 1,000 km throughout.

    With 10 mg/kg in the new fluid the exchange leaves 15, and 15 more came. Derived: mass balance of a mixed charge of
    6.8 kg. The most is twice what takes the fluid from new to 250 mg/kg in its whole life, here 80,000 km.
    """
    rows = [
        {"vehicle": "BUS-1", "taken_at": f"{day}T08:00:00Z", "odometer": km}
        for day, km in (("2025-01-01", 39_900), ("2025-01-03", 40_000), ("2025-01-05", 40_000), ("2025-12-30", 80_000))
    ]  # fmt: skip
    assert fleet.post("/v1/readings", {"readings": rows}).json()["accepted"] == 4
    fleet.post("/v1/samples", sample(taken_at="2025-01-04T08:00:00Z", laboratory={"iron_mg_per_kg": 20}))
    done = {"compartment": "gearbox", "rounds": [{"drained_litres": 4.0, "filled_litres": 4.0}]}
    answer = fleet.post(
        "/v1/services", {"vehicle": "BUS-1", "done_at": "2025-01-04T10:00:00Z", "compartments": [done]}
    )
    assert answer.status_code == 201, answer.text
    later = sample(taken_at="2026-01-01T08:00:00Z", laboratory={"iron_mg_per_kg": 30})
    (found,) = fleet.post("/v1/samples", later | {"new_values": {"iron_mg_per_kg": new}}).json()["rates"]
    assert (found["per"], found["rate"]) == ("1000 km", pytest.approx(rate))
    assert found["highest_rate"] == pytest.approx(highest)
    assert found["is_alarm"] is False
    steep = fleet.post(
        "/v1/samples", sample(taken_at="2026-01-01T09:00:00Z", laboratory={"iron_mg_per_kg": 900})
    )
    assert steep.json()["rates"] == []  # nothing was driven since


@pytest.mark.parametrize(
    ("told", "pointer", "advice"),
    [
        (sample(), "/laboratory", "at least one"),
        (sample(grade="purple"), "/grade", "choose from"),
        (sample(laboratory={"iron": 3}), "/laboratory/iron", "iron_mg_per_kg"),
        (sample(laboratory={"iron_mg_per_kg": -3}), "/laboratory/iron_mg_per_kg", "between 0"),
        (sample(laboratory={"iron_mg_per_kg": 3}, units={"iron_mg_per_kg": "oz"}), "/laboratory/iron_mg_per_kg", "ppm"),
        (sample(laboratory={"water_fraction": 3}), "/laboratory/water_fraction", "percent"),
        (sample(laboratory={"viscosity_40c_mm2_per_s": 7, "viscosity_100c_mm2_per_s": 35}),
         "/laboratory/viscosity_100c_mm2_per_s", "exchanged"),
        (sample(grade="brown", new_values={"particles_6um_per_ml": 10, "particles_14um_per_ml": 11}),
         "/new_values/particles_14um_per_ml", "particles_6um_per_ml"),
        (sample(grade="brown", taken_at="2026-06-01T08:00:00Z"), "/taken_at", "future"),
        (sample(grade="brown", taken_at="2026-05-01T08:00:00"), "/taken_at", "offset"),
        (sample(grade="brown", compartment="sump"), "/compartment", "brakes, gearbox"),
        (sample(grade="brown", vehicle="NOBODY"), "/vehicle", "no vehicle"),
        (sample(grade="brown", compartment="cmp_999"), "/compartment", "no compartment"),
        (sample(grade="brown", colour="red"), "/colour", "no such field"),
    ],
)  # fmt: skip
def test_what_cannot_be_right_is_refused_with_the_field(fleet, told, pointer, advice):
    errors = refusal(fleet.post("/v1/samples", told))
    assert advice in errors[pointer], errors
    assert fleet.get("/v1/samples").json()["samples"] == []


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e400", "true", '"12"'])
def test_numbers_that_are_none_are_refused(fleet, number):
    body = json.dumps(sample(laboratory={"iron_mg_per_kg": "NUMBER"})).replace('"NUMBER"', "NUMBER")
    headers = fleet.headers | {"Content-Type": "application/json"}
    answer = fleet.client.post("/v1/samples", content=body.replace("NUMBER", number), headers=headers)
    assert answer.status_code in {400, 422}
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_same_sample_is_recorded_once_and_again_after_it_was_voided(fleet):
    told = sample(grade="brown", reference="report 5521")
    first = fleet.post("/v1/samples", told)
    for again in (told, told | {"grade": "black"}, told | {"reference": "another"}):
        assert fleet.post("/v1/samples", again).json()["type"] == "/problems/duplicate"
    assert fleet.delete(first.headers["Location"]).status_code == 204
    assert fleet.post("/v1/samples", told).status_code == 201
    listed = fleet.get(f"/v1/samples?compartment={first.json()['compartment_id']}").json()["samples"]
    assert [row["voided_at"] is None for row in listed] == [False, True]


def test_another_organisation_s_compartment_and_samples_are_unknown(fleet, join):
    stranger = join("Another Invented Operator")
    created = fleet.post("/v1/samples", sample(grade="brown"))
    told = {
        "compartment": created.json()["compartment_id"],
        "taken_at": "2026-05-01T08:00:00Z",
        "grade": "brown",
    }
    assert "/compartment" in refusal(stranger.post("/v1/samples", told))
    assert stranger.get(created.headers["Location"]).status_code == 404
    assert stranger.delete(created.headers["Location"]).status_code == 404


REPORT = (
    "vehicle,compartment,taken_at,odometer,reference,iron_mg_per_kg [ppm],water_fraction [%]\n"
    "BUS-1,gearbox,2026-04-01T08:00:00Z,84210.4,r1,96.5,0.05\n"
    "BUS-1,gearbox,2026-04-20,86210.4,r2,101.5,<0.01\n"
    "BUS-1,sump,2026-04-20,86210.4,r3,101.5,0.01\n"
    "BUS-1,gearbox,2026-04-21,86300.4,r4,many,0.01\n"
)
ROWS = REPORT.split("\n", 1)[1].replace(",", ";")
for number in (".4;", ".5;", "0.0"):
    ROWS = ROWS.replace(number, number.replace(".", ","))
UNIT_ROW = (
    "vehicle;compartment;taken_at;odometer;reference;iron_mg_per_kg;water_fraction\nunit;;;;;ppm;%\n" + ROWS
)
WITH_EMPTY_ROWS = REPORT.replace("\n", "\n" + 1_500 * ",,,,,,\n" + 1_500 * "\n")


def send_file(operator, text, **headers):
    headers = operator.headers | {"Content-Type": "text/csv"} | headers
    return operator.client.post("/v1/samples?time_zone=Europe/Berlin", content=text.encode(), headers=headers)


@pytest.mark.parametrize(
    "text", [REPORT, "\ufeff" + REPORT, REPORT.replace("\n", "\r\n"), UNIT_ROW, WITH_EMPTY_ROWS]
)
def test_a_laboratory_s_file_has_an_outcome_for_every_row(fleet, text):
    answer = send_file(fleet, text)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert [row["outcome"] for row in body["results"]] == ["accepted", "accepted", "rejected", "rejected"]
    assert [row["field"] for row in body["results"]] == [None, None, "compartment", "iron_mg_per_kg"]
    stored = fleet.get("/v1/samples").json()["samples"]
    assert [row["laboratory"]["iron_mg_per_kg"] for row in stored] == [96.5, 101.5]
    assert [row["laboratory"]["water_fraction"] for row in stored] == [pytest.approx(0.0005), 0.0]
    assert stored[1]["taken_at"] == "2026-04-20T12:00:00+02:00"
    readings = fleet.get("/v1/vehicles/BUS-1/readings").json()["readings"]
    assert [row["odometer"] for row in readings] == [84_210.4, 86_210.4]
    again = send_file(fleet, text).json()
    assert (again["accepted"], again["duplicate"], again["rejected"]) == (0, 2, 2)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "vehicle,compartment\n",
        REPORT.replace("iron_mg_per_kg", "iron"),
        REPORT.split("\n", 1)[0] + "\n",
        'vehicle,compartment,taken_at\n"a',
    ],
    ids=["empty", "blank", "no time", "unknown property", "no rows", "open quote"],
)  # fmt: skip
def test_a_broken_file_is_refused_and_nothing_of_it_is_stored(fleet, text):
    answer = send_file(fleet, text)
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert fleet.get("/v1/samples").json()["samples"] == []


def test_a_keyed_file_is_stored_once(fleet):
    first = send_file(fleet, REPORT, **{"Idempotency-Key": "k1"})
    again = send_file(fleet, REPORT, **{"Idempotency-Key": "k1"})
    assert again.json() == first.json()
    assert again.headers["Idempotency-Replayed"] == "true"


def test_a_column_that_samples_do_not_have_is_told_by_its_place(fleet):
    errors = refusal(send_file(fleet, REPORT.replace("iron_mg_per_kg [ppm]", "iron [ppm]")))
    assert "named in column 6" in errors["row 1"]
