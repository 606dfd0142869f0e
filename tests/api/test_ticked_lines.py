"""Lines of the due list and the services that settle them: by when the work was done, not by when it was typed."""

from datetime import date, timedelta

import pytest
from sqlmodel import select

from service.store.tables.due_lists import DueList, DueListLine, LineEvent

KIND = "automatic_transmission_car"
PLACES = ("gearbox", "second gearbox")


@pytest.fixture
def fleet(operator):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    operator.post("/v1/fluids", {"fluid": "ATF-A", "kind": KIND})
    for place in PLACES:
        body = {
            "compartment": place,
            "kind": KIND,
            "fluid": "ATF-A",
            "total_litres": 8,
            "drainable_litres": 4,
        }
        assert operator.post("/v1/vehicles/VAN-07/compartments", body).status_code == 201
    return operator


@pytest.fixture
def listed(fleet, database, clock):
    """A published list of week 2026-W19 with a line of the gearbox; gives what happened to the line."""

    def publish(**more):
        (gearbox,) = (
            row
            for row in fleet.get("/v1/vehicles/VAN-07/compartments").json()["compartments"]
            if row["compartment"] == "gearbox"
        )
        published_at = clock.now() - timedelta(days=3)
        with database.transaction() as session:
            due_list = DueList(
                organisation_id=fleet.organisation_id,
                iso_week="2026-W19",
                due_at=published_at,
                published_at=published_at,
                n_lines=1,
                content_hash="0" * 64,
            )
            session.add(due_list)
            session.flush()
            line = {
                "vehicle": "VAN-07",
                "compartment": "gearbox",
                "depot": "Main",
                "kind": KIND,
                "reason": "The interval ends now.",
                "limit_reached": "distance",
                "method": "drain_and_fill",
                "n_rounds": 2,
                "litres": 8.0,
                "labour_minutes": 90,
                "change": "new",
                "first_listed_week": "2026-W19",
            }
            session.add(
                DueListLine(
                    organisation_id=fleet.organisation_id,
                    due_list_id=due_list.id,
                    position=0,
                    vehicle_id=1,
                    compartment_id=int(gearbox["id"].removeprefix("cmp_")),
                    **(line | more),
                )
            )

    def events():
        with database.snapshot() as session:
            return [event.kind for event in session.exec(select(LineEvent).order_by(LineEvent.id))]

    publish.events = events
    return publish


def record(fleet, done_at, place="gearbox", litres=4.0, **more):
    rounds = [{"drained_litres": 0 if more.get("method") else litres, "filled_litres": litres}]
    late = {"late_entry": True} if more.pop("late", False) else {}
    work = {"compartment": place, "rounds": rounds, **more}
    body = {"vehicle": "VAN-07", "done_at": done_at, "compartments": [work], **late}
    answer = fleet.post("/v1/services", body)
    assert answer.status_code == 201, answer.text
    return answer


def test_a_service_ticks_its_line_off_and_voiding_it_opens_the_line_again(fleet, listed):
    listed()
    record(fleet, "2026-05-01T08:00:00Z", litres=0.2, method="top_up")
    assert listed.events() == []
    created = record(fleet, "2026-05-01T12:10:00Z")
    fleet.delete(created.headers["Location"])
    assert listed.events() == ["done", "reopened"]


def test_voiding_a_service_leaves_a_line_closed_that_another_one_has_settled_since(fleet, listed):
    listed()
    mistaken = record(fleet, "2026-05-01T12:10:00Z")
    (line,) = fleet.get("/v1/due-lists/2026-W19").json()["lines"]
    answer = fleet.post(f"/v1/due-list-lines/{line['id']}/events", {"kind": "reopened"})
    assert answer.status_code == 201, answer.text
    record(fleet, "2026-05-02T12:10:00Z")
    fleet.delete(mistaken.headers["Location"])
    assert listed.events() == ["done", "reopened", "done"]


@pytest.mark.parametrize("gearbox_first", [True, False])
def test_a_line_is_ticked_off_whichever_service_was_typed_first(fleet, listed, gearbox_first):
    listed()
    if gearbox_first:
        record(fleet, "2026-05-02T08:00:00Z")
        record(fleet, "2026-05-03T08:00:00Z", "second gearbox")
    else:
        record(fleet, "2026-05-03T08:00:00Z", "second gearbox")
        record(fleet, "2026-05-02T08:00:00Z", late=True)
    assert listed.events() == ["done"]


@pytest.mark.parametrize("late", [True, False])
@pytest.mark.parametrize(
    ("done_at", "due_q10_on", "expected"),
    [
        # Week 19 begins on 4 May 2026 (ISO 8601); its list is fixed in the week before, from 27 April on.
        ("2026-04-27T00:30:00+02:00", None, ["done"]),
        ("2026-04-26T23:30:00+02:00", None, []),
        ("2026-04-26T23:30:00+02:00", "2026-05-20", []),
        ("2026-04-10T10:00:00+02:00", "2026-04-10", ["done"]),
        ("2026-04-09T10:00:00+02:00", "2026-04-10", []),
        ("2024-04-09T10:00:00+02:00", "2026-04-10", []),
    ],
)
def test_work_from_before_a_line_could_be_due_does_not_tick_it_off(
    fleet, listed, late, done_at, due_q10_on, expected
):
    listed(due_q10_on=None if due_q10_on is None else date.fromisoformat(due_q10_on))
    if late:
        record(fleet, "2026-05-03T08:00:00Z", "second gearbox")
    record(fleet, done_at, late=late)
    assert listed.events() == expected


def test_a_line_carried_over_is_settled_by_work_since_it_was_listed_first(fleet, listed):
    listed(change="carried_over", first_listed_week="2026-W15")
    record(fleet, "2026-05-03T08:00:00Z", "second gearbox")
    record(fleet, "2026-04-15T08:00:00Z", late=True)
    assert listed.events() == ["done"]
