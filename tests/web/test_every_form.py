"""What holds of every form, by the application's own routes: a form without an example fails.

Forms of other sites are refused [ASVS 5.0, 3.5.1], what was typed outlives the session, things of another organisation
are not there [8.4.1], and the same form sent twice is done once.
"""

import pytest
from sqlalchemy import func
from sqlmodel import select

from service.jobs.weekly_run import run_weekly
from service.store.tables.all import SQLModel
from service.web.application import ROUTERS
from tests.web.conftest import hidden_in, token_in
from tests.web.page_examples import driver_link, furnish

ELSEWHERE = {"/sign-in", "/sign-in/{code}", "/driver/{code}", "/sign-out"}
"""Nobody is signed in there, or is any more; they are proven by tests of their own."""

VEHICLE = {"vehicle_reference": "VAN-77", "depot": "North", "vehicle_class": "van", "odometer_unit": "km"}
VEHICLE |= {"duty": "normal", "weekday-1": "yes"}
READING = {"odometer": "80400", "unit": "km", "taken_at": "2026-05-01T06:20"}
SAMPLE = {"compartment": "cmp_1", "taken_at": "2026-05-01T06:00", "grade": "brown"}
SETTINGS = {"time_zone": "Europe/Paris", "locale": "fr-FR", "currency": "EUR", "publishing_time": "06:00"}
SETTINGS |= {"distance_unit": "km", "volume_unit": "litre", "publishing_weekday": "5"}
ARTICLE = {"lead": "9", "spread": "2", "level": "95", "pack-1-size": "5", "pack-1-price": "60"}

FORMS: dict[str, tuple[str, dict[str, str]]] = {
    "/password": ("/password", {"password": "four invented words"}),
    "/due-lists/{week}/publish": ("/due-lists/2026-W20/publish", {}),
    "/lines": ("/lines", {"done": "lin_2", "week": "2026-W19"}),
    "/lines/{line}": ("/lines/lin_1", {"do": "dropped", "note": "typed"}),
    "/vehicles/{vehicle}/job-sheet": ("/vehicles/veh_1/job-sheet", {"do": "save", "note": "typed"}),
    "/vehicles/new": ("/vehicles/new", VEHICLE),
    "/vehicles/{vehicle}/change": ("/vehicles/veh_1/change", VEHICLE | {"vehicle_reference": "VAN-78"}),
    "/vehicles/{vehicle}/reading": ("/vehicles/veh_1/reading", READING),
    "/vehicles/{vehicle}/readings": ("/vehicles/veh_1/readings", READING),
    "/readings/{reading}": ("/readings/{held}", {"decision": "release"}),
    "/vehicles/{vehicle}/compartments/new": (
        "/vehicles/veh_1/compartments/new",
        {"kind": "axle", "name": "rear axle"},
    ),
    "/compartments/{compartment}/change": (
        "/compartments/cmp_1/change",
        {"name": "box", "total_litres": "9", "drainable_litres": "3.5"},
    ),
    "/vehicles/{vehicle}/sample": ("/vehicles/veh_1/sample", SAMPLE),
    "/services/{service}": ("/services/srv_1", {"reason": "typed"}),
    "/samples/{sample}": ("/samples/smp_1", {"reason": "typed"}),
    "/compartments/{compartment}/returns": (
        "/compartments/cmp_1/returns",
        {"cmp_1-rounds": "1", "cmp_1-after_days": "60"},
    ),
    "/vehicles/{vehicle}/returns/{planned}": ("/vehicles/veh_1/returns/ret_1", {}),
    "/vehicles/{vehicle}/day": ("/vehicles/veh_1/day", {"kind": "on", "day": "2026-05-20"}),
    "/vehicles/{vehicle}/links": ("/vehicles/veh_1/links", {"link_name": "Visor", "link_days": "30"}),
    "/vehicles/{vehicle}/links/{link}": ("/vehicles/veh_1/links/{link}", {}),
    "/stock/fluids": ("/stock/fluids", {"fluid_name": "Blue Two", "fluid_kind": "axle"}),
    "/stock/parts": ("/stock/parts", {"part_name": "filter seal"}),
    "/stock/fluids/{article}": ("/stock/fluids/fld_1", ARTICLE),
    "/stock/parts/{article}": ("/stock/parts/prt_1", ARTICLE),
    "/stock/movements": ("/stock/movements", {"item": "fluid:Red Seven", "kind": "receipt", "litres": "4"}),
    "/stock/collections": (
        "/stock/collections",
        {"used_depot": "North", "used_stream": "lubricating_oil", "used_litres": "4"},
    ),
    "/orders": ("/orders", {"fluid": "Red Seven", "packs": "20.0=1"}),
    "/orders/{order}": ("/orders/ord_1", {"do": "receive"}),
    "/settings": ("/settings", SETTINGS),
    "/settings/depots": ("/settings/depots", {"depot_name": "East"}),
    "/settings/depots/{depot}": (
        "/settings/depots/dep_1",
        {f"minutes-{day}": "480" for day in range(1, 8)},
    ),
    "/settings/people": ("/settings/people", {"login": "maxi", "name": "Maxi", "role": "mechanic"}),
    "/settings/people/{person}": ("/settings/people/per_1", {"do": "invite"}),
    "/settings/tokens": ("/settings/tokens", {"name": "gateway", "scope-read": "yes"}),
    "/settings/tokens/{token}": ("/settings/tokens/tok_1", {}),
    "/settings/planning": ("/settings/planning", {"order_plan_weeks": "9"}),
    "/settings/machines": ("/settings/machines", {"name": "Other box"}),
    "/settings/machines/{source}": ("/settings/machines/src_1", {"do": "end"}),
    "/settings/machines/{source}/pull": (
        "/settings/machines/src_1/pull",
        {"pull_address": "", "pull_minutes": "30"},
    ),
    "/settings/machines/{source}/{equipment}": (
        "/settings/machines/src_1/eqp_1",
        {"eqp_1-vehicle": "VAN-02", "eqp_1-odometer": "12"},
    ),
    "/settings/machines/{source}/{equipment}/{value}": (
        "/settings/machines/src_1/eqp_1/mva_2",
        {"decision": "release"},
    ),
    "/start/vehicles": ("/start/vehicles", {"table": "number,class\nVAN-88,van", "do": "register"}),
}
OF_SOMEBODY = {
    name: form for name, form in FORMS.items() if "{" in name and name != "/due-lists/{week}/publish"
}
"""Forms about one thing, which may be somebody else's."""


@pytest.fixture
def names(workshop, fleet, database, clock):
    """Everything that the forms speak of is there; an owner is signed in. Gives what fills the addresses."""
    furnish(workshop.operator)
    assert run_weekly(database, clock.now(), "node") == 1
    driver_link(database, workshop.operator.organisation_id, clock)
    readings = workshop.operator.get("/v1/vehicles/VAN-01/readings?outcome=held").json()["readings"]
    held = next(one["id"] for one in readings if one["outcome"] == "held")
    workshop.come_in()
    order = {"fluid": "Red Seven", "packs": "20.0=1"}
    made = workshop.send("/orders", order | {"form_token": token_in(workshop.get("/password").text)})
    assert made.status_code == 303, made.text
    back = {"cmp_1-rounds": "1", "cmp_1-after_days": "50"}
    assert workshop.fill("/vehicles/veh_1", "/compartments/cmp_1/returns", **back).status_code == 303
    return {"held": held, "link": "tok_2"}


def rows(database) -> dict[str, int]:
    """How many rows every table has, apart from sessions and the like, and how many changes were written down."""
    with database.snapshot() as session:
        return {
            name: session.exec(select(func.count()).select_from(table)).one()
            for name, table in SQLModel.metadata.tables.items()
            if "session" not in name and "sign_in" not in name
        }


def test_every_form_of_the_application_has_an_example():
    posts = {route.path for router in ROUTERS for route in router.routes if "POST" in route.methods}
    assert posts == FORMS.keys() | ELSEWHERE


def test_forms_of_other_sites_and_other_browsers_change_nothing(workshop, names, database):
    own = token_in(workshop.get("/password").text)
    before = rows(database)
    for name, (path, fields) in FORMS.items():
        for origin, token in (
            ("https://elsewhere.example", own),
            ("null", own),
            (None, own),
            ("http://testserver", ""),
            ("http://testserver", "0" * 64),
        ):
            typed = fields | {"form_token": token, "form_id": "x"}
            answer = workshop.send(path.format(**names), typed, origin=origin)
            assert answer.status_code == 403, (name, origin, answer.text)
    assert rows(database) == before


def test_what_was_typed_into_any_form_outlives_the_session(workshop, names, database):
    token = token_in(workshop.get("/password").text)
    workshop.client.cookies.clear()
    before = rows(database)
    for name, (path, fields) in FORMS.items():
        answer = workshop.send(path.format(**names), fields | {"form_token": token, "form_id": "x"})
        assert answer.status_code == 401, (name, answer.text)
        carried = hidden_in(answer.text, "/sign-in").get("carried", "")
        assert carried, name
    assert rows(database) == before


def test_things_of_another_organisation_are_not_there_for_any_form(workshop, names, database, join):
    other = join("Other Invented")
    workshop.come_in("eve", organisation_id=other.organisation_id)
    token = token_in(workshop.get("/password").text)
    before = rows(database)
    for name, (path, fields) in OF_SOMEBODY.items():
        typed = fields | {"form_token": token, "form_id": name[-20:]}
        answer = workshop.send(path.format(**names), typed)
        assert answer.status_code == 404, (name, answer.text)
    assert rows(database) == before


def test_any_form_that_is_sent_twice_is_done_once(workshop, names, database):
    """A second press of the button, or going back and pressing again: nothing more is stored."""
    token = token_in(workshop.get("/password").text)
    last = {
        "/stock/fluids/{article}",
        "/settings/machines/{source}",
        "/lines/{line}",
        "/settings/tokens/{token}",
    }
    refused = []
    for name, (path, fields) in sorted(FORMS.items(), key=lambda form: form[0] in last):
        if name == "/password":
            continue  # it begins a session anew, whose forms have other tokens
        typed = fields | {"form_token": token, "form_id": f"twice{name}"[:30]}
        first = workshop.send(path.format(**names), typed)
        if first.status_code not in {200, 303}:
            refused.append(name)
            continue
        after = rows(database)
        again = workshop.send(path.format(**names), typed)
        assert rows(database) == after, name
        assert again.status_code == 303, (name, again.status_code)
    assert refused == []
