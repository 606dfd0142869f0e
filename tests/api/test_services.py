"""Services through the API: what was done is stored whole or not at all, and everything follows from it."""

import pytest
from sqlmodel import select

from service.store.tables.stock import StockMovement

GEARBOX = {
    "compartment": "gearbox",
    "kind": "automatic_transmission_car",
    "fluid": "ATF-A",
    "specification": "Maker's standard 3",
    "total_litres": 8.0,
    "drainable_litres": 4.0,
    "level_min_celsius": 35,
    "level_max_celsius": 45,
    "interval_km": 80_000,
    "interval_months": 96,
    "last_service_on": "2022-05-01",
    "last_service_odometer_km": 60_000,
}


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    atf = {"kind": "automatic_transmission_car", "is_dyed": True, "specifications": ["maker's  STANDARD 3"]}
    operator.post("/v1/fluids", {"fluid": "ATF-A", **atf})
    operator.post("/v1/fluids", {"fluid": "ATF-X", **atf, "specifications": ["Another standard"]})
    operator.post(
        "/v1/fluids", {"fluid": "COOL-1", "kind": "coolant_oat", "specifications": ["Maker's standard 3"]}
    )
    operator.post("/v1/vehicles/VAN-07/compartments", GEARBOX)
    rows = [{"vehicle": "VAN-07", "taken_at": "2026-01-10T08:00:00Z", "odometer": 80_000}]
    operator.post("/v1/readings", {"readings": rows})
    return operator


def rounds(*litres):
    return [{"drained_litres": out, "filled_litres": in_} for out, in_ in litres]


def work(*litres, **more):
    return {"compartment": "gearbox", "fluid": "ATF-A", "rounds": rounds(*litres), **more}


def service(*works, **more):
    return {
        "vehicle": "VAN-07",
        "done_at": "2026-05-01T14:10:00+02:00",
        "odometer": 84_000,
        "compartments": list(works),
        **more,
    }


def gearbox_of(operator):
    (gearbox,) = operator.get("/v1/vehicles/VAN-07/projection").json()["compartments"]
    return gearbox


def movements(database, organisation_id):
    with database.snapshot() as session:
        rows = session.exec(select(StockMovement).where(StockMovement.organisation_id == organisation_id))
        return [(row.kind, row.quantity) for row in rows]


def refusal(answer):
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return {error["pointer"]: error["detail"] for error in answer.json()["errors"]}


def test_a_service_is_stored_as_it_was_told_and_found_by_the_sender_s_reference(fleet):
    told = service(
        work((4.0, 4.0), (4.0, 4.3), level_celsius=40, excess_drained_litres=0.3, old_fluid_grade="2"),
        reference="job 1180",
        done_by="J. Doe",
        note="Fine grey paste on the magnet.",
    )
    created = fleet.post("/v1/services", told)
    assert created.status_code == 201, created.text
    body = created.json()
    assert body["done_at"] == told["done_at"]
    assert body["reading_outcome"] == "accepted"
    (done,) = body["compartments"]
    assert done["rounds"] == told["compartments"][0]["rounds"]
    assert done["old_fluid_grade"] == "brown"  # mark 2 on the job sheet
    (listed,) = fleet.get("/v1/services?reference=job%201180&vehicle=VAN-07").json()["services"]
    assert listed == fleet.get(created.headers["Location"]).json()
    assert listed["id"] == body["id"]


@pytest.mark.parametrize(
    ("done", "fresh_share"),
    [
        # Ideally mixed drain and fill, f_n = (1 - d/V)^n (derived: mass balance): 8 L, 4 L drained.
        (work((4, 4)), 0.5),
        (work((4, 4), (4, 4), (4, 4)), 0.875),
        # Over-fill 5 L, 1 L released when the level is set: f = 4/9 (derived: mass balance).
        (work((4, 5), level_celsius=40, excess_drained_litres=1.0), 1 - 4 / 9),
        # Under-fill by half a litre: f = 4/7.5 (derived: mass balance).
        (work((4, 3.5)), 1 - 4 / 7.5),
        # Arrived low at 7.4 L of 8 L, told by the level check: f = 3.8/8 (derived: mass balance).
        (work((3.6, 4.2), level_celsius=40, excess_drained_litres=0.0), 1 - 3.8 / 8),
        # Line exchange, litres passed by litres held 1.5, two tanks in series: f = 0.12447 (derived).
        ({"compartment": "gearbox", "method": "line_exchange", "passed_litres": 12.0}, 1 - 0.12447),
    ],
    ids=["one round", "three rounds", "over-fill", "under-fill", "arrived low", "line exchange"],
)
def test_the_fresh_share_follows_from_the_litres(fleet, done, fresh_share):
    assert fleet.post("/v1/services", service(done)).status_code == 201
    assert gearbox_of(fleet)["fresh_share"] == pytest.approx(fresh_share, abs=5e-5)


def test_a_top_up_thins_the_fluid_and_moves_no_due_date(fleet):
    topped = {"compartment": "gearbox", "method": "top_up", "rounds": rounds((0.0, 0.8))}
    assert fleet.post("/v1/services", service(topped)).status_code == 201
    (gearbox,) = fleet.get("/v1/vehicles/VAN-07/compartments").json()["compartments"]
    (_, step, _) = fleet.get(f"/v1/compartments/{gearbox['id']}/history").json()["steps"]
    # 0.8 L of 8 L are new, so nine tenths of the life used stay (derived: mass balance).
    assert step["after"]["life_used"] == pytest.approx(0.9 * step["before"]["life_used"], abs=2e-6)
    assert step["after"]["schedule_since"] == step["before"]["schedule_since"] == "2022-05-01"


def test_a_service_draws_stock_and_voiding_it_puts_the_litres_back(fleet, database):
    created = fleet.post("/v1/services", service(work((4, 4), (4, 4.5))))
    assert movements(database, fleet.organisation_id) == [("drawn", -8.5)]
    before = gearbox_of(fleet)
    path = created.headers["Location"]
    assert fleet.delete(path).status_code == 204
    assert movements(database, fleet.organisation_id) == [("drawn", -8.5), ("correction", 8.5)]
    assert fleet.get(path).json()["voided_at"] is not None
    assert gearbox_of(fleet)["life_used"]["p50"] > before["life_used"]["p50"]
    assert fleet.delete(path).json()["type"] == "/problems/state-transition"


def test_the_odometer_of_a_service_is_a_reading_that_goes_with_it(fleet):
    created = fleet.post("/v1/services", service(work((4, 4)))).json()
    kept = fleet.get(f"/v1/readings?reference={created['id']}").json()["readings"]
    assert [(row["source"], row["odometer"], row["outcome"]) for row in kept] == [
        ("service", 84_000, "accepted")
    ]
    fleet.delete(f"/v1/services/{created['id']}")
    (gone,) = fleet.get(f"/v1/readings?reference={created['id']}").json()["readings"]
    assert gone["outcome"] == "rejected"
    again = fleet.post("/v1/services", service(work((4, 4)))).json()
    assert again["reading_outcome"] == "accepted"


def test_a_wrong_odometer_does_not_lose_the_service_but_is_held(fleet):
    rows = [
        {"vehicle": "VAN-07", "taken_at": f"2026-04-{day:02d}T08:00:00Z", "odometer": 83_000 + 30 * day}
        for day in range(1, 29)
    ]
    fleet.post("/v1/readings", {"readings": rows})
    answer = fleet.post("/v1/services", service(work((4, 4)), odometer=8_400)).json()
    assert answer["reading_outcome"] == "held"
    assert any("held" in warning for warning in answer["warnings"])


def test_a_reference_is_recorded_once_and_a_keyed_call_is_answered_again(fleet):
    told = service(work((4, 4)), reference="job 7")
    first = fleet.post("/v1/services", told, headers={"Idempotency-Key": "k1"})
    again = fleet.post("/v1/services", told, headers={"Idempotency-Key": "k1"})
    assert (again.status_code, again.json()) == (201, first.json())
    repeated = fleet.post("/v1/services", told)
    assert (repeated.status_code, repeated.json()["type"]) == (409, "/problems/duplicate")
    assert repeated.json()["errors"][0]["pointer"] == "/reference"
    fleet.delete(first.headers["Location"])
    assert fleet.post("/v1/services", told).status_code == 201


@pytest.mark.parametrize(
    ("told", "pointer", "advice"),
    [
        (service(work((9, 9))), "/compartments/0/rounds/0/drained_litres", "8.00 L"),
        (service(work((4, 2), (6.5, 4))), "/compartments/0/rounds/1/drained_litres", "6.00 L"),
        (service(work((4, 30))), "/compartments/0/rounds/0/filled_litres", "34.00 L"),
        (service(work((4, -1))), "/compartments/0/rounds/0/filled_litres", "greater than or equal"),
        (service(work((4, 4), fluid="ATF-X")), "/compartments/0/fluid", "override_reason"),
        (service(work((4, 4), fluid="COOL-1", override_reason="At hand")), "/compartments/0/fluid", "no override"),
        (service(work((4, 4), fluid="ATF-Z")), "/compartments/0/fluid", "no such fluid"),
        (service(work((4, 4), level_celsius=55)), "/compartments/0/level_celsius", "Let it cool"),
        (service(work((4, 4), level_celsius=20)), "/compartments/0/level_celsius", "Run it warmer"),
        (service(work((4, 4), old_fluid_grade="purple")), "/compartments/0/old_fluid_grade", "choose from"),
        (service(work()), "/compartments/0/rounds", "how many litres"),
        (service(work((4, 4), compartment="sump")), "/compartments/0/compartment", "it has gearbox"),
        (service(work((4, 4)), work((4, 4))), "/compartments/1/compartment", "once"),
        (service(work((4, 4)), vehicle="NOBODY"), "/vehicle", "register it first"),
        (service(work((4, 4)), done_at="2026-05-09T08:00:00Z"), "/done_at", "future"),
        (service(work((4, 4)), done_at="2026-05-01T08:00:00"), "/done_at", "offset"),
        (service(work((4, 4)), unit="furlong"), "/unit", "'km' or 'mi'"),
        (service(work((4, 4)), odometer=9e9), "/odometer", "less than or equal"),
    ],
)  # fmt: skip
def test_what_cannot_have_been_done_is_refused_and_nothing_is_stored_half(
    fleet, database, told, pointer, advice
):
    errors = refusal(fleet.post("/v1/services", told))
    assert advice in errors[pointer], errors
    assert fleet.get("/v1/services").json()["services"] == []
    assert movements(database, fleet.organisation_id) == []
    assert len(fleet.get("/v1/vehicles/VAN-07/readings").json()["readings"]) == 1


def test_everything_wrong_is_named_at_once(fleet):
    errors = refusal(fleet.post("/v1/services", service(work((9, 9), level_celsius=99, fluid="ATF-X"))))
    assert set(errors) == {
        "/compartments/0/rounds/0/drained_litres",
        "/compartments/0/level_celsius",
        "/compartments/0/fluid",
    }


def test_another_specification_is_accepted_with_a_reason_that_is_kept(fleet):
    told = service(work((4, 4), fluid="ATF-X", override_reason="Maker's letter of 3 March allows it"))
    created = fleet.post("/v1/services", told)
    assert created.status_code == 201, created.text
    assert created.json()["compartments"][0]["override_reason"] == "Maker's letter of 3 March allows it"


def test_silicone_brake_fluid_never_meets_glycol_fluid(fleet):
    """DOT 5 is silicone and does not mix with DOT 3, 4 and 5.1 (49 CFR 571.116)."""
    for name, grade in (("BF-5", "DOT 5"), ("BF-51", "DOT 5.1")):
        fleet.post("/v1/fluids", {"fluid": name, "kind": "brake_fluid", "specifications": [grade, "DOT 4"]})
    brakes = {"compartment": "brakes", "kind": "brake_fluid", "specification": "DOT 4", "total_litres": 1.0}
    fleet.post("/v1/vehicles/VAN-07/compartments", brakes)
    flushed = {
        "compartment": "brakes",
        "method": "flush",
        "passed_litres": 1.5,
        "override_reason": "Nothing else",
    }
    errors = refusal(fleet.post("/v1/services", service(flushed | {"fluid": "BF-5"})))
    assert "Silicone" in errors["/compartments/0/fluid"]
    assert fleet.post("/v1/services", service(flushed | {"fluid": "BF-51"})).status_code == 201


def test_a_fluid_is_held_against_what_was_in_the_unit_at_that_time(fleet):
    """Oils of two families mix only by the maker's word."""
    fleet.post(
        "/v1/vehicles/VAN-07/compartments", {"kind": "axle", "compartment": "axle", "total_litres": 4.0}
    )
    fleet.post("/v1/fluids", {"fluid": "GEAR", "kind": "axle"})
    fleet.post("/v1/fluids", {"fluid": "ENGINE", "kind": "engine_oil_diesel_light"})

    def filled(fluid, done_at, **more):
        one = work((2, 2), compartment="axle", fluid=fluid, **more)
        told = service(one, done_at=done_at, odometer=None, late_entry=True)
        return fleet.post("/v1/services", told)

    assert filled("GEAR", "2026-02-01T09:00:00Z").status_code == 201
    assert (
        filled("ENGINE", "2026-04-01T09:00:00Z", override_reason="Allowed by the maker.").status_code == 201
    )
    assert "override_reason" in refusal(filled("GEAR", "2026-04-02T09:00:00Z"))["/compartments/0/fluid"]
    assert filled("GEAR", "2026-03-01T09:00:00Z").status_code == 201


def test_a_fluid_counter_must_be_reset_or_somebody_says_why_not(fleet):
    (gearbox,) = fleet.get("/v1/vehicles/VAN-07/compartments").json()["compartments"]
    fleet.patch(f"/v1/compartments/{gearbox['id']}", {"has_fluid_counter": True})
    errors = refusal(fleet.post("/v1/services", service(work((4, 4)))))
    assert "Reset it" in errors["/compartments/0/counter_reset"]
    reasoned = service(work((4, 4), counter_reset=False, override_reason="Tester broken, booked for Monday"))
    assert fleet.post("/v1/services", reasoned).status_code == 201


def test_a_level_may_be_told_where_the_maker_gives_no_window(fleet):
    axle = {"compartment": "rear axle", "kind": "axle", "total_litres": 2.0, "drainable_litres": 1.9}
    fleet.post("/v1/vehicles/VAN-07/compartments", axle)
    done = {"compartment": "rear axle", "rounds": rounds((1.8, 1.8)), "level_celsius": 12}
    answer = fleet.post("/v1/services", service(done))
    assert answer.status_code == 201, answer.text
    assert "no fluid is named" in answer.json()["warnings"][0]


def test_less_filled_than_drained_is_recorded_with_a_warning(fleet):
    """A quart is 0.946 L (NIST Handbook 44, Appendix C), so that slip is small; half a fill is not."""
    short = fleet.post("/v1/services", service(work((4, 4), (4, 2.5))))
    assert short.status_code == 201, short.text
    (told,) = short.json()["warnings"]
    assert "gearbox: 1.50 L less went in than came out" in told
    shown = fleet.get(short.headers["Location"]).json()
    assert shown["warnings"] == [told]
    even = service(work((4, 3.8)), done_at="2026-05-01T15:10:00+02:00")
    assert fleet.post("/v1/services", even).json()["warnings"] == []
    line = service(work(method="line_exchange", passed_litres=9), done_at="2026-05-01T16:10:00+02:00")
    assert fleet.post("/v1/services", line).json()["warnings"] == []


def test_an_older_service_needs_a_word_that_it_is_meant(fleet):
    fleet.post("/v1/services", service(work((4, 4))))
    older = service(work((4, 4)), done_at="2026-03-01T09:00:00Z", odometer=82_000)
    assert "late_entry" in refusal(fleet.post("/v1/services", older))["/done_at"]
    assert fleet.post("/v1/services", older | {"late_entry": True}).status_code == 201
    # Two rounds of one half each leave a quarter of the old fluid, whichever was entered first (derived).
    assert gearbox_of(fleet)["fresh_share"] == pytest.approx(0.5)


def test_another_organisation_s_vehicle_compartment_and_fluid_are_unknown(fleet, join):
    stranger = join("Another Invented Operator")
    assert "/vehicle" in refusal(stranger.post("/v1/services", service(work((4, 4)))))
    (gearbox,) = fleet.get("/v1/vehicles/VAN-07/compartments").json()["compartments"]
    stranger.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    told = service(work((4, 4), compartment=gearbox["id"]))
    assert "/compartments/0/compartment" in refusal(stranger.post("/v1/services", told))
    recorded = fleet.post("/v1/services", service(work((4, 4))))
    assert stranger.get(recorded.headers["Location"]).status_code == 404
    assert stranger.delete(recorded.headers["Location"]).status_code == 404


@pytest.mark.parametrize(
    ("celsius", "advice"),
    [
        (40, "as it warms it will stand about 0.28 L too high"),
        (130, "Let it cool"),
        (79.5, "it will stand a little too high"),
        (200, "too low"),
    ],
)
def test_a_level_set_outside_its_window_says_by_how_much_it_would_be_off(fleet, celsius, advice):
    """9 L set 40 degrees too cold stand 284 mL too high: ASTM D1250-04, table 54D form, 850 kg/m³ (computed)."""
    hot = {
        **GEARBOX,
        "compartment": "hot",
        "total_litres": 9,
        "level_min_celsius": 80,
        "level_max_celsius": 90,
    }
    fleet.post("/v1/vehicles/VAN-07/compartments", hot)
    told = service(work((4, 4), compartment="hot", level_celsius=celsius))
    assert advice in refusal(fleet.post("/v1/services", told))["/compartments/0/level_celsius"]
