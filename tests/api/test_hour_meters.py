"""A replaced hour meter: the numbers start anew and the hours go on.

The figures are invented; what is expected is plain addition, and for dates the same machine with one meter for ever.
"""

from datetime import timedelta

import pytest

from service.usecases.readings import screen_hours
from tests.api.test_machine_sources import link, source
from tests.api.test_machine_sources import send as send_document
from tests.service_fixtures import START

__all__ = ["source"]
FIRST_DAY = START - timedelta(days=100)
REPLACED_DAY = 50
OLD_LAST, NEW_FIRST = 4_400.0, 3.0
HOURS_A_DAY = 8.0


@pytest.fixture
def fleet(operator):
    for name in ("DIG-1", "DIG-2"):
        operator.post("/v1/vehicles", {"vehicle": name, "class": "other_machine"})
        facts = {"kind": "hydraulic", "interval_hours": 900, "interval_months": 36}
        facts |= {"last_service_on": FIRST_DAY.date().isoformat(), "last_service_engine_hours": 4_000.0}
        answer = operator.post(f"/v1/vehicles/{name}/compartments", facts)
        assert answer.status_code == 201, answer.text
    return operator


def at(day):
    return (FIRST_DAY + timedelta(days=day)).isoformat()


def send(fleet, *rows, vehicle="DIG-1", **more):
    """Rows of day and hours; the results."""
    body = [{"vehicle": vehicle, "taken_at": at(day), "engine_hours": hours} | more for day, hours in rows]
    answer = fleet.post("/v1/readings", {"readings": body})
    assert answer.status_code == 200, answer.text
    return [one["outcome"] for one in answer.json()["results"]]


def until_replaced():
    return [(day, 4_000.0 + HOURS_A_DAY * day) for day in range(0, REPLACED_DAY, 10)]


def since_replaced(first=NEW_FIRST):
    return [(day, first + HOURS_A_DAY * (day - REPLACED_DAY)) for day in range(60, 100, 10)]


def replace(fleet, *, vehicle="DIG-1", key="k", **facts):
    body = {"replaced_at": at(REPLACED_DAY), "new_engine_hours": NEW_FIRST} | facts
    body = {name: value for name, value in body.items() if value is not None}
    path = f"/v1/vehicles/{vehicle}/cluster-replacements"
    return fleet.post(path, body, headers={"Idempotency-Key": key})


def stored(fleet, vehicle="DIG-1"):
    rows = fleet.get(f"/v1/vehicles/{vehicle}/readings?limit=500").json()["readings"]
    return sorted(rows, key=lambda row: (row["taken_at"], row["id"]))


def used(fleet, vehicle="DIG-1"):
    return [row["used_hours"] for row in stored(fleet, vehicle) if row["outcome"] == "accepted"]


def audit(fleet):
    return fleet.get("/v1/audit").json()["entries"]


def test_what_was_held_since_is_believed_and_the_hours_go_on(fleet):
    send(fleet, *until_replaced())
    assert send(fleet, *since_replaced()) == ["held"] * 4
    answer = replace(fleet, old_engine_hours=OLD_LAST)
    assert answer.status_code == 201, answer.text
    old, new = answer.json()["readings"]
    assert (old["engine_hours"], old["used_hours"], old["reason"]) == (OLD_LAST, OLD_LAST, "released")
    assert (new["engine_hours"], new["used_hours"], new["reason"]) == (
        NEW_FIRST,
        OLD_LAST,
        "cluster_replaced",
    )
    since = [OLD_LAST + hours - NEW_FIRST for _, hours in since_replaced()]
    before = [hours for _, hours in until_replaced()]
    assert used(fleet) == [*before, OLD_LAST, OLD_LAST, *since]
    assert send(fleet, (95, NEW_FIRST + 360.0)) == ["accepted"]
    assert used(fleet)[-1] == OLD_LAST + 360.0
    (told,) = [one for one in audit(fleet) if one["action"] == "hour meter replaced"]
    assert (told["detail"]["old_hours"], told["detail"]["new_hours"]) == (OLD_LAST, NEW_FIRST)
    (anew,) = [one for one in audit(fleet) if one["action"] == "judged anew"]
    assert anew["detail"]["n_readings"] == 4


def test_where_nobody_read_the_old_meter_its_last_believed_hours_count(fleet):
    send(fleet, *until_replaced())
    (only,) = replace(fleet).json()["readings"]
    assert only["used_hours"] == 4_320.0
    assert send(fleet, *since_replaced()) == ["accepted"] * 4
    assert used(fleet)[-1] == 4_320.0 + since_replaced()[-1][1] - NEW_FIRST


def test_wrong_hours_of_the_new_meter_are_still_held(fleet):
    send(fleet, *until_replaced())
    replace(fleet, old_engine_hours=OLD_LAST)
    assert send(fleet, (60, 1.0), (61, 900.0), (62, 90.0)) == ["held", "held", "accepted"]


def test_a_late_reading_of_the_old_meter_stays_on_the_old_meter(fleet):
    send(fleet, *until_replaced())
    replace(fleet, old_engine_hours=OLD_LAST)
    send(fleet, *since_replaced())
    assert send(fleet, (45, 4_360.0)) == ["accepted"]
    assert used(fleet) == sorted(used(fleet))


def test_a_meter_may_be_replaced_more_than_once(fleet):
    send(fleet, *until_replaced())
    replace(fleet, old_engine_hours=OLD_LAST)
    send(fleet, *since_replaced())
    replace(fleet, key="k2", replaced_at=at(92), old_engine_hours=330.0, new_engine_hours=0.0)
    assert send(fleet, (94, 16.0)) == ["accepted"]
    assert used(fleet)[-1] == OLD_LAST + 330.0 - NEW_FIRST + 16.0


def test_odometer_and_hours_may_be_replaced_together(fleet):
    rows = [(day, hours, 20_000.0 + 30.0 * day) for day, hours in until_replaced()]
    for day, hours, km in rows:
        assert send(fleet, (day, hours), odometer=km) == ["accepted"]
    facts = {"old_engine_hours": OLD_LAST, "old_odometer": 21_500.0, "new_odometer": 5.0}
    old, new = replace(fleet, **facts).json()["readings"]
    assert (old["used_km"], old["used_hours"]) == (new["used_km"], new["used_hours"]) == (21_500.0, OLD_LAST)
    assert send(fleet, (60, 83.0), odometer=305.0) == ["accepted"]
    last = stored(fleet)[-1]
    assert (last["used_km"], last["used_hours"], last["reason"]) == (21_800.0, OLD_LAST + 80.0, None)
    assert "cluster replaced" in [one["action"] for one in audit(fleet)]


def test_hours_beside_an_odometer_count_again(fleet):
    send(fleet, (0, 4_000.0), odometer=20_000.0)
    send(fleet, (60, 83.0), odometer=21_000.0)
    assert [row["used_hours"] for row in stored(fleet)] == [4_000.0, None]
    replace(fleet, old_engine_hours=OLD_LAST)
    last = stored(fleet)[-1]
    assert (last["used_hours"], last["outcome"], last["reason"]) == (OLD_LAST + 80.0, "accepted", None)


def test_a_discarded_replacement_is_as_if_it_had_never_been_and_can_be_released_again(fleet):
    send(fleet, *until_replaced())
    rows = replace(fleet, old_engine_hours=OLD_LAST).json()["readings"]
    send(fleet, *since_replaced())
    with_it = used(fleet)
    for decision, n_held in (("discard", 4), ("release", 0)):
        for row in rows:
            assert fleet.patch(f"/v1/readings/{row['id']}", {"decision": decision}).status_code == 200
        assert [row["outcome"] for row in stored(fleet)].count("held") == n_held
    assert used(fleet) == with_it


def test_sent_twice_with_one_key_it_is_recorded_once(fleet):
    send(fleet, *until_replaced())
    first, again = (replace(fleet, old_engine_hours=OLD_LAST) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert len(stored(fleet)) == len(until_replaced()) + 2
    assert replace(fleet, key="another", old_engine_hours=OLD_LAST).status_code == 409


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"new_engine_hours": None}, "/new_odometer"),
        ({"new_engine_hours": None, "old_engine_hours": OLD_LAST}, "/new_engine_hours"),
        ({"new_engine_hours": -1.0}, "/new_engine_hours"),
        ({"old_engine_hours": 1e9}, "/old_engine_hours"),
        ({"old_engine_hours": 44.0}, "/old_engine_hours"),
        ({"old_engine_hours": 44_000.0}, "/old_engine_hours"),
        ({"old_odometer": 100.0}, "/new_odometer"),
        ({"new_odometer": 100.0}, "/old_odometer"),
        ({"replaced_at": "2099-01-01T00:00:00Z"}, "/replaced_at"),
    ],
)
def test_what_cannot_be_is_refused_and_says_where(fleet, wrong, pointer):
    send(fleet, *until_replaced())
    answer = replace(fleet, **wrong)
    assert answer.status_code == 422, answer.text
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]
    assert len(stored(fleet)) == len(until_replaced())


def test_it_is_due_by_hours_when_the_same_machine_with_one_meter_is(fleet, database, clock):
    from service.usecases.due.refresh_fleet import refresh_fleet

    send(fleet, *until_replaced())
    send(fleet, *since_replaced())
    send(fleet, *until_replaced(), (50, OLD_LAST), *since_replaced(first=OLD_LAST), vehicle="DIG-2")
    with database.transaction() as session:
        refresh_fleet(session, fleet.organisation_id, clock.now())
    replace(fleet, old_engine_hours=OLD_LAST)
    shown = [fleet.get(f"/v1/vehicles/{name}/projection").json() for name in ("DIG-1", "DIG-2")]
    (replaced,), (one_meter,) = [one["compartments"] for one in shown]
    assert one_meter["limit"] == replaced["limit"] == "hours"
    assert replaced["due"] == one_meter["due"]
    assert replaced["overdue_probability"] == pytest.approx(one_meter["overdue_probability"], abs=1e-6)


def test_a_machine_source_that_goes_on_by_itself_is_not_shifted(operator, source):
    facts = {"vehicle": "VAN-07"}
    send(operator, (0, 4_000.0), **facts)
    for day, hours in ((0, 4_000.0), (10, 4_080.0)):
        send_document(operator, source, ("M-1", at(day).replace("+00:00", "Z"), None, hours))
    link(operator, source)
    replace(operator, vehicle="VAN-07", replaced_at=at(20), old_engine_hours=4_160.0)
    send_document(operator, source, ("M-1", at(30).replace("+00:00", "Z"), None, 4_240.0))
    assert send(operator, (40, 163.0), **facts) == ["accepted"]
    assert used(operator, "VAN-07")[-2:] == [4_240.0, 4_320.0]


def test_only_what_came_since_is_judged_anew(fleet, monkeypatch):
    assert send(fleet, *((day, 4_000.0 + HOURS_A_DAY * day) for day in range(100))) == ["accepted"] * 100
    read = []
    inner = screen_hours.read_since
    monkeypatch.setattr(screen_hours, "read_since", lambda *told: read.append(inner(*told)) or read[-1])
    late = stored(fleet)[95]
    assert fleet.patch(f"/v1/readings/{late['id']}", {"decision": "discard"}).status_code == 200
    assert [len(rows) for rows in read] == [5]
    assert len(used(fleet)) == 99
