"""A source that was taken for the dashboard, and what readings of the dashboard say of it later.

The figures are invented; what follows of each is plain addition.
"""

import re
from datetime import UTC, datetime, timedelta

import pytest

from tests.api.test_machine_sources import equipment_of, link, meter_of, readings_of, send, source

__all__ = ["source"]
FIRST = datetime(2026, 4, 20, 6, tzinfo=UTC)


def at(days: float) -> str:
    return (FIRST + timedelta(days=days)).isoformat().replace("+00:00", "Z")


def report(operator, source, *days, hours=None):
    """What the machine itself counts: 100 km a day from 1,000 km."""
    for day in days:
        send(operator, source, ("M-1", at(day), 1_000.0 + 100.0 * day, hours and hours + 2.0 * day))


def drive_past(operator, source, ahead, *days):
    """The dashboard is read at noon of some days, `ahead` km more than the machine counts."""
    for day in days:
        told = {"vehicle": "VAN-07", "taken_at": at(day + 0.5), "odometer": 1_050.0 + 100.0 * day + ahead}
        answer = operator.post("/v1/readings", {"readings": [{**told, "source": "driver"}]})
        assert answer.status_code == 200, answer.text
    report(operator, source, max(days) + 1)


def believed(operator, of):
    return [row[2] for row in readings_of(operator) if row[0] == of and row[4] == "accepted"]


@pytest.mark.parametrize("ahead", [500.0, 90_000.0, -700.0])
def test_an_offset_is_proposed_by_three_readings_that_agree_and_changed_by_a_person_alone(
    operator, source, ahead
):
    report(operator, source, 0, 1, 2)
    link(operator, source)
    report(operator, source, 3, 4)
    drive_past(operator, source, ahead, 2, 3)
    assert meter_of(operator, source)["proposed_offset"] is None, "two readings may both be mistakes"
    drive_past(operator, source, ahead, 4)
    meter = meter_of(operator, source)
    assert (meter["offset"], meter["offset_origin"]) == (0.0, "sole"), "nothing changes by itself"
    assert meter["proposed_offset"] == pytest.approx(ahead)
    shown = link(operator, source, odometer_offset_km=meter["proposed_offset"])["meters"][0]
    assert (shown["offset"], shown["offset_origin"], shown["proposed_offset"]) == (ahead, "set", None)


@pytest.mark.parametrize("ahead", [500.0, 90_000.0])
def test_what_was_passed_on_unchecked_is_passed_on_anew_with_the_offset(operator, source, ahead):
    report(operator, source, 0, 1, 2, 3, 4)
    link(operator, source)
    drive_past(operator, source, ahead, 2, 3, 4)
    link(operator, source, odometer_offset_km=ahead)
    assert sorted(believed(operator, "portal")) == [1_000.0 + 100.0 * day + ahead for day in range(6)]
    assert sorted(believed(operator, "driver")) == [1_050.0 + 100.0 * day + ahead for day in (2, 3, 4)]
    rejected = [row[2] for row in readings_of(operator) if row[4] == "rejected"]
    assert sorted(rejected) == [1_000.0 + 100.0 * day for day in range(6)], "kept as they were, and discarded"
    rows = operator.get("/v1/vehicles/VAN-07/readings").json()["readings"]
    names = {row["reference"] for row in rows if row["source"] == "portal"}
    assert len(names) == 12
    assert all(re.fullmatch(r"eqp_1 odometer \S+", name) for name in names), "a move renumbers the id in it"
    band = operator.get("/v1/vehicles/VAN-07/projection").json()["odometer_km"]
    assert band["p10"] >= 1_500.0 + ahead - 1.0
    link(operator, source, odometer_offset_km=ahead + 10.0)
    assert sorted(believed(operator, "portal"))[0] == 1_000.0 + ahead, "by then it was no assumption"


def test_a_decision_on_a_value_finds_its_reading_after_the_offset_was_set(operator, source):
    report(operator, source, 0, 1, 2)
    link(operator, source)
    link(operator, source, odometer_offset_km=500.0)
    (row,) = equipment_of(operator, source)
    path = f"/v1/machine-sources/{source}/equipment/{row['id']}/values"
    (value,) = [one for one in operator.get(path).json()["values"] if one["value"] == 1_100.0]
    assert operator.patch(f"{path}/{value['id']}", {"decision": "discard"}).status_code == 200
    assert sorted(believed(operator, "portal")) == [1_500.0, 1_700.0]


def test_engine_hours_have_a_proposal_of_their_own(operator, source):
    report(operator, source, 0, 1, 2, 3, hours=40.0)
    link(operator, source)
    for day in (0, 1, 2):
        told = {"vehicle": "VAN-07", "taken_at": at(day + 0.5), "engine_hours": 341.0 + 2.0 * day}
        operator.post("/v1/readings", {"readings": [{**told, "source": "driver"}]})
    assert meter_of(operator, source)["proposed_offset"] is None
    assert meter_of(operator, source, "engine_hours")["proposed_offset"] == pytest.approx(300.0)
    link(operator, source, engine_hours_offset=300.0)
    told = [row[3] for row in readings_of(operator) if row[0] == "portal" and row[4] == "accepted"]
    assert sorted(hours for hours in told if hours is not None) == [340.0, 342.0, 344.0, 346.0]


def test_a_known_offset_is_called_in_question_only_when_it_is_far_off(operator, source):
    report(operator, source, 0, 1, 2, 3, 4)
    link(operator, source, odometer_offset_km=500.0)
    drive_past(operator, source, 540.0, 2, 3, 4)
    assert meter_of(operator, source)["proposed_offset"] is None
    drive_past(operator, source, 700.0, 5)
    drive_past(operator, source, 700.0, 6)
    assert meter_of(operator, source)["proposed_offset"] is None, "one of the last three says otherwise"
    drive_past(operator, source, 700.0, 7)
    assert meter_of(operator, source)["proposed_offset"] == pytest.approx(700.0)
    assert meter_of(operator, source)["offset"] == 500.0


def test_a_discarded_reading_and_one_far_from_any_value_propose_nothing(operator, source):
    report(operator, source, 0, 1, 2, 3, 4)
    link(operator, source)
    drive_past(operator, source, 500.0, 2, 3, 4)
    first = next(row for row in operator.get("/v1/readings").json()["readings"] if row["source"] == "driver")
    operator.patch(f"/v1/readings/{first['id']}", {"decision": "discard"})
    assert meter_of(operator, source)["proposed_offset"] is None
    told = {"vehicle": "VAN-07", "taken_at": at(10), "odometer": 2_500.0, "source": "driver"}
    operator.post("/v1/readings", {"readings": [told]})
    assert meter_of(operator, source)["proposed_offset"] is None, "five days after the last value"
