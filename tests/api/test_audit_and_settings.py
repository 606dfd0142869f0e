"""The record of changes, the organisation's settings and its depots."""

import pytest

from service.domain.roles import Scope


def test_every_change_is_written_down_and_paged(operator):
    operator.patch("/v1/organisation", {"currency": "CHF"})
    for name in ("North", "South", "West"):
        operator.post("/v1/depots", {"depot": name}, headers={"X-Request-ID": f"request-{name}"})
    entries, path = [], "/v1/audit?limit=2"
    while path:
        page = operator.get(path)
        entries += page.json()["entries"]
        path = page.links.get("next", {}).get("url")
    assert [(one["action"], one["object_type"]) for one in entries] == [("made", "depot")] * 3 + [
        ("changed", "organisation")
    ]
    assert entries[0]["request_id"] == "request-West"
    assert entries[-1]["detail"] == {"before": {"currency": "EUR"}, "after": {"currency": "CHF"}}
    number = entries[0]["object_number"]
    only = operator.get(f"/v1/audit?object_type=depot&object_number={number}").json()["entries"]
    assert [one["id"] for one in only] == [entries[0]["id"]]


def test_the_record_is_for_administrators_of_the_same_organisation(operator, join):
    operator.post("/v1/depots", {"depot": "North"})
    other = join("Another Invented Operator")
    assert other.get("/v1/audit").json() == {"entries": []}
    reader = join("Reader", scopes=frozenset(Scope) - {Scope.ADMIN})
    assert reader.get("/v1/audit").status_code == 403
    assert operator.get("/v1/audit?cursor=e30x").status_code == 422
    assert operator.get("/v1/audit?cursor=eyJiZWZvcmUiOiJ4In0").status_code == 422


def test_settings_are_read_and_changed_with_a_match(operator):
    read = operator.get("/v1/organisation")
    assert (read.json()["publishing_weekday"], read.json()["publishing_time"]) == (5, "06:00")
    match = {"If-Match": read.headers["etag"]}
    change = {"time_zone": "Pacific/Chatham", "publishing_time": "15:30", "publishing_weekday": 4}
    changed = operator.patch("/v1/organisation", change, headers=match)
    assert changed.status_code == 200, changed.text
    assert change.items() <= changed.json().items()
    assert operator.get("/v1/organisation").json() == changed.json()
    assert operator.patch("/v1/organisation", change, headers=match).status_code == 412


@pytest.mark.parametrize(
    "change",
    [
        {"time_zone": "Europe"},
        {"time_zone": "localtime"},
        {"time_zone": "../../etc/passwd"},
        {"time_zone": None},
        {"publishing_weekday": 0},
        {"publishing_weekday": 8},
        {"publishing_weekday": True},
        {"publishing_time": "24:00"},
        {"publishing_time": "6:00"},
        {"publishing_time": None},
        {"currency": "eur"},
        {"distance_unit": "league"},
        {"locale": "en_GB"},
        {"id": 7},
        {"organisation_id": 7},
        {"name": "Other"},
    ],
)
def test_settings_that_cannot_be_are_refused(operator, change):
    before = operator.get("/v1/organisation").json()
    assert operator.patch("/v1/organisation", change).status_code == 422
    assert operator.get("/v1/organisation").json() == before


def test_settings_are_for_administrators(join):
    planner = join("Planner", scopes=frozenset(Scope) - {Scope.ADMIN})
    assert planner.get("/v1/organisation").status_code == 200
    assert planner.patch("/v1/organisation", {"currency": "CHF"}).status_code == 403


def test_a_depot_has_bays_holidays_closing_days_and_room(operator):
    facts = {
        "depot": "North",
        "bay_minutes": [960, 960, 960, 960, 480, 0, 0],
        "holiday_region": "DE-BY",
        "closed_on": ["2026-12-28", "2026-12-27", "2026-12-28"],
        "used_fluid_capacity_litres": 1000.0,
        "used_fluid_capacity_by_stream": {"lubricating_oil": 800.0},
    }
    made = operator.post("/v1/depots", facts)
    assert made.status_code == 201, made.text
    expected = facts | {"closed_on": ["2026-12-27", "2026-12-28"], "id": made.json()["id"]}
    assert made.json() == expected
    for path in (made.headers["location"], "/v1/depots/North"):
        assert operator.get(path).json() == expected
    changed = operator.patch("/v1/depots/North", {"holiday_region": None, "depot": "North 2"})
    assert changed.json() == expected | {"holiday_region": None, "depot": "North 2"}
    assert [one["depot"] for one in operator.get("/v1/depots").json()["depots"]] == ["North 2"]


@pytest.mark.parametrize(
    "facts",
    [
        {"holiday_region": "XX"},
        {"holiday_region": "DE-ZZ"},
        {"holiday_region": "de"},
        {"holiday_region": "DEU"},
        {"bay_minutes": [480] * 6},
        {"bay_minutes": [-1, 0, 0, 0, 0, 0, 0]},
        {"bay_minutes": [1e9, 0, 0, 0, 0, 0, 0]},
        {"closed_on": ["2026-02-30"]},
        {"used_fluid_capacity_litres": -1.0},
        {"used_fluid_capacity_litres": "12"},
        {"depot": "dep_7"},
        {"depot": "a\u0000b"},
        {"depot": ""},
        {"surprise": 1},
    ],
)
def test_depots_that_cannot_be_are_refused(operator, facts):
    assert operator.post("/v1/depots", {"depot": "North"} | facts).status_code == 422
    assert operator.get("/v1/depots").json() == {"depots": []}


def test_names_of_depots_are_free_per_organisation(operator, join):
    made = operator.post("/v1/depots", {"depot": "North"}).json()
    assert operator.post("/v1/depots", {"depot": "North"}).status_code == 409
    operator.post("/v1/depots", {"depot": "South"})
    assert operator.patch("/v1/depots/South", {"depot": "North"}).status_code == 409
    other = join("Another Invented Operator")
    assert other.get(f"/v1/depots/{made['id']}").status_code == 404
    assert other.patch(f"/v1/depots/{made['id']}", {"bay_minutes": [0] * 7}).status_code == 404
    assert other.post("/v1/depots", {"depot": "North"}).status_code == 201
