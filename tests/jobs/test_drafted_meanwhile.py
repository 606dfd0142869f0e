"""A list is drafted without keeping writers out; what they do meanwhile is told of its lines all the same."""

from datetime import timedelta

import pytest

from service.domain.weeks import IsoWeek
from service.usecases.access.caller import system_caller
from service.usecases.week.publish_due_list import draft_list, publish_list
from tests.jobs.conftest import FRIDAY_MORNING
from tests.jobs.vans import add_due_van

WEEK = IsoWeek.parse("2026-W19")


@pytest.fixture
def fleet(operator, clock):
    clock.present = FRIDAY_MORNING
    for van in ("LEAVES", "SERVED", "BEGUN", "TOPPED", "STAYS"):
        add_due_van(operator, van, "2026-05-06")
    return operator


def served(fleet, van, **work):
    rounds = [{"drained_litres": 0.0 if work else 0.5, "filled_litres": 0.1 if work else 0.5}]
    work = {"compartment": "brakes", "rounds": rounds, **work}
    done = {"vehicle": van, "done_at": "2026-05-01T08:29:00+02:00", "compartments": [work]}
    answer = fleet.post("/v1/services", done)
    assert answer.status_code == 201, answer.text


def test_who_left_or_was_served_while_a_list_was_drafted_is_not_open_on_it(fleet, database, clock):
    with database.snapshot() as session:
        draft = draft_list(session, fleet.organisation_id, WEEK, FRIDAY_MORNING)
    # One began to be recorded before the draft and was stored after it.
    clock.present = FRIDAY_MORNING - timedelta(seconds=2)
    served(fleet, "BEGUN")
    clock.advance(timedelta(seconds=5))
    assert fleet.delete("/v1/vehicles/LEAVES").status_code == 204
    served(fleet, "SERVED")
    served(fleet, "TOPPED", method="top_up")
    caller = system_caller(fleet.organisation_id, "test")
    with database.transaction() as session:
        assert publish_list(session, caller, WEEK, FRIDAY_MORNING, FRIDAY_MORNING, "node", draft) is not None
    lines = fleet.get(f"/v1/due-lists/{WEEK}").json()["lines"]
    states = {line["vehicle"]: (line["state"], [event["kind"] for event in line["events"]]) for line in lines}
    assert states == {
        "LEAVES": ("dropped", ["dropped"]),
        "SERVED": ("done", ["done"]),
        "BEGUN": ("done", ["done"]),
        "TOPPED": ("open", []),
        "STAYS": ("open", []),
    }
