"""Many at the same moment: one effect a key, no lost update, no lock that reaches the caller."""

import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, col, select

from service.domain.events import Event
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Role
from service.errors import ServiceError
from service.store.repositories.depots import add_depot_once
from service.store.session import Database
from service.store.tables.organisation import Depot
from service.usecases.access.caller import system_caller
from service.usecases.access.manage_people import add_person, disable_person
from service.usecases.access.manage_tokens import rotate_token
from service.usecases.deliveries.subscribe import subscribe
from service.usecases.services.record_services import record_service
from service.usecases.services.service_entries import NewRound, NewService, NewWork
from service.usecases.week.mark_lines import mark_line
from tests.jobs.conftest import FRIDAY_MORNING
from tests.jobs.vans import add_due_van
from tests.service_fixtures import START

N_THREADS = 20
VAN = {"vehicle": "VAN-07", "class": "van"}


def at_once(calls: Sequence[Callable[[], Any]]) -> list[Any]:
    """Make all calls at the same moment; gives what they gave."""
    barrier = threading.Barrier(len(calls))
    results: list[Any] = [None] * len(calls)

    def run(place: int) -> None:
        barrier.wait()
        results[place] = calls[place]()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(calls))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120.0)
    assert None not in results
    return results


def readings(n_rows: int, first_km: float = 84_000.0) -> dict[str, Any]:
    """A batch of sound readings without references."""
    rows = [
        {"vehicle": "VAN-07", "taken_at": f"2026-04-{day:02d}T07:30:00Z", "odometer": first_km + 40 * day}
        for day in range(1, n_rows + 1)
    ]
    return {"readings": rows}


def test_a_key_sent_from_many_threads_has_one_effect(operator):
    key = {"Idempotency-Key": "the-same"}
    answers = at_once([lambda: operator.post("/v1/vehicles", VAN, headers=key)] * N_THREADS)
    assert {answer.status_code for answer in answers} <= {201, 409}
    bodies = {answer.text for answer in answers if answer.status_code == 201}
    assert len(bodies) == 1
    assert len(operator.get("/v1/vehicles").json()["vehicles"]) == 1
    other = operator.post("/v1/vehicles", {**VAN, "vehicle": "VAN-08"}, headers=key)
    assert other.status_code == 422
    assert len(operator.get("/v1/vehicles").json()["vehicles"]) == 1


def test_a_key_is_its_organisation_s_own(operator, join):
    key = {"Idempotency-Key": "the-same"}
    assert operator.post("/v1/vehicles", VAN, headers=key).status_code == 201
    answer = join("Another").post("/v1/vehicles", VAN, headers=key)
    assert answer.status_code == 201
    assert "Idempotency-Replayed" not in answer.headers


def test_the_same_batch_without_a_key_is_stored_once(operator):
    operator.post("/v1/vehicles", VAN)
    answers = at_once([lambda: operator.post("/v1/readings", readings(10))] * 8)
    assert {answer.status_code for answer in answers} == {200}
    counts = Counter(row["outcome"] for answer in answers for row in answer.json()["results"])
    assert counts == {"accepted": 10, "duplicate": 70}
    assert len(operator.get("/v1/vehicles/VAN-07/readings").json()["readings"]) == 10


def test_the_same_number_registered_at_once_is_one_vehicle(operator):
    answers = at_once([lambda: operator.post("/v1/vehicles", VAN)] * 8)
    assert Counter(answer.status_code for answer in answers) == {201: 1, 409: 7}


def test_a_depot_that_many_name_first_is_made_once(operator):
    bodies = [{"vehicle": f"VAN-{number}", "class": "van", "depot": "New yard"} for number in range(8)]
    answers = at_once([lambda body=body: operator.post("/v1/vehicles", body) for body in bodies])
    assert {answer.status_code for answer in answers} == {201}
    assert [depot["depot"] for depot in operator.get("/v1/depots").json()["depots"]] == ["New yard"]


def test_who_comes_second_takes_the_depot_that_the_first_makes(database, operator):
    """The first has not ended when the second begins, so neither can see the other's."""

    def make() -> tuple[str, bool]:
        with database.transaction() as session:
            new = Depot(
                organisation_id=operator.organisation_id,
                reference="New yard",
                bay_minutes=[480] * 7,
                created_at=START,
            )
            depot, is_new = add_depot_once(session, new)
            time.sleep(0.3)
            return depot.reference, is_new

    assert sorted(at_once([make, make])) == [("New yard", False), ("New yard", True)]


def test_changes_at_the_same_moment_lose_nothing(operator):
    operator.post("/v1/vehicles", VAN)
    before = operator.get("/v1/vehicles/VAN-07").json()["version"]
    changes = [
        {"duty": "severe"},
        {"depot": "South"},
        {"odometer_unit": "mi"},
        {"in_service_on": "2024-01-08"},
        {"available_weekdays": [1, 2]},
    ]
    calls = [lambda change=change: operator.patch("/v1/vehicles/VAN-07", change) for change in changes]
    answers = at_once(calls)
    assert {answer.status_code for answer in answers} == {200}
    after = operator.get("/v1/vehicles/VAN-07").json()
    assert after["version"] == before + len(changes)
    assert {name: after[name] for change in changes for name in change} == {
        name: value for change in changes for name, value in change.items()
    }


def test_of_two_edits_of_the_same_version_one_is_refused(operator):
    operator.post("/v1/vehicles", VAN)
    tag = {"If-Match": operator.get("/v1/vehicles/VAN-07").headers["ETag"]}
    calls = [
        lambda duty=duty: operator.patch("/v1/vehicles/VAN-07", {"duty": duty}, headers=tag)
        for duty in ("severe", "mixed")
    ]
    assert sorted(answer.status_code for answer in at_once(calls)) == [200, 412]


def test_an_order_is_placed_cancelled_and_received_once(operator):
    """OWASP ASVS 5.0, 2.3.4: of several who decide at the same moment one does, and the stock shows it once."""
    fluid = {"fluid": "ATF-A", "kind": "axle", "packs": [{"litres": 20, "price_minor": 16_500}]}
    assert operator.post("/v1/fluids", fluid).status_code == 201
    order = {
        "fluid": "ATF-A",
        "packs": [{"count": 3, "litres": 20}],
        "expected_on": "2026-05-11",
        "state": "planned",
    }
    whole = {"packs": order["packs"]}

    def stepped(*steps: tuple[str, Any], n_times: int = 4) -> tuple[Counter[int], str]:
        path = f"/v1/purchase-orders/{made['id']}"
        calls = [lambda step=step: operator.post(f"{path}/{step[0]}", step[1]) for step in steps] * n_times
        statuses = Counter(answer.status_code for answer in at_once(calls))
        return statuses, operator.get(path).json()["state"]

    made = operator.post("/v1/purchase-orders", order).json()
    assert stepped(("place", {"expected_on": "2026-05-11"})) == ({200: 1, 409: 3}, "placed")
    assert stepped(("receive", whole)) == ({200: 1, 409: 3}, "received")
    made = operator.post("/v1/purchase-orders", order).json()
    assert stepped(("cancel", None)) == ({200: 1, 409: 3}, "cancelled")
    made = operator.post("/v1/purchase-orders", {**order, "state": "placed"}).json()
    statuses, state = stepped(("cancel", None), ("receive", whole), n_times=2)
    assert statuses == {200: 1, 409: 3}
    litres = sum(row["litres"] for row in operator.get("/v1/stock/movements").json()["movements"])
    assert litres == {"received": 120.0, "cancelled": 60.0}[state]


def test_nothing_is_left_of_what_is_posted_while_its_vehicle_goes(operator, database):
    from service.store.tables.readings import Reading
    from service.store.tables.vehicles import Vehicle

    for number in range(4):
        assert operator.post("/v1/vehicles", VAN | {"vehicle": f"VAN-{number}"}).status_code == 201
        name = f"VAN-{number}"
        row = {"vehicle": name, "odometer": 84_000.0}
        calls = [
            lambda day=day, row=row: operator.post(
                "/v1/readings", {"readings": [row | {"taken_at": f"2026-04-{day:02d}T07:30:00Z"}]}
            )
            for day in range(1, 9)
        ]
        answers = at_once([lambda name=name: operator.delete(f"/v1/vehicles/{name}"), *calls])
        assert answers[0].status_code in {204, 409}
        assert {answer.status_code for answer in answers[1:]} <= {200, 422}
    with database.engine.connect() as connection:
        known = {key for (key,) in connection.execute(select(col(Vehicle.id)))}
        held = {key for (key,) in connection.execute(select(col(Reading.vehicle_id)))}
    assert held <= known


def decided(database: Database, *decisions: Callable[[Session], Any]) -> list[Any]:
    """Let each decide in a transaction that takes its time to end; gives what came of it, or the error's code."""

    def run(decide: Callable[[Session], Any]) -> Any:
        try:
            with database.transaction() as session:
                result = decide(session)
                time.sleep(0.2)
                return result
        except ServiceError as error:
            return error.code

    return at_once([lambda one=one: run(one) for one in decisions])


def test_a_line_is_ticked_off_once(operator, database, clock):
    clock.present = FRIDAY_MORNING
    for van in ("VAN-1", "VAN-2"):
        add_due_van(operator, van, "2026-05-06")
    lines = operator.post("/v1/due-lists/2026-W19/publish").json()["lines"]
    ids = {line["vehicle"]: line["id"] for line in lines}
    caller = system_caller(operator.organisation_id, "test")
    work = NewWork(
        compartment="brakes",
        method=ExchangeMethod.DRAIN_AND_FILL,
        rounds=(NewRound(drained_litres=0.5, filled_litres=0.5),),
    )
    done = NewService(vehicle="VAN-1", done_at=FRIDAY_MORNING - timedelta(hours=1), compartments=(work,))

    def mark(session: Session, van: str, kind: str) -> str:
        mark_line(session, caller, FRIDAY_MORNING, ids[van], kind)
        return "marked"

    def serve(session: Session) -> str:
        record_service(session, caller, FRIDAY_MORNING, done)
        return "recorded"

    by_hand = [lambda session, kind=kind: mark(session, "VAN-2", kind) for kind in ("done", "dropped")]
    assert sorted(decided(database, *by_hand)) == ["marked", "state-transition"]
    decided(database, serve, lambda session: mark(session, "VAN-1", "done"))
    for line in ids.values():
        assert len(operator.get(f"/v1/due-list-lines/{line}").json()["events"]) == 1


def test_whoever_is_given_a_secret_can_use_it(operator, database):
    """Two who rotate at once, with an overlap: the one that comes second leaves the first one's in force."""
    token = operator.post("/v1/tokens", {"name": "shared", "scopes": ["read"]}).json()
    caller = system_caller(operator.organisation_id, "test")
    until = START + timedelta(days=2)

    def rotate(session: Session) -> str:
        return rotate_token(session, caller, START, token["id"], until)[1]

    for secret in decided(database, rotate, rotate):
        headers = {"Authorization": f"Bearer {secret}"}
        assert operator.client.get("/v1/vehicles", headers=headers).status_code == 200


def test_a_receiver_is_subscribed_once(operator, database):
    caller = system_caller(operator.organisation_id, "test")

    def ask(session: Session) -> str:
        subscribe(session, caller, START, "mail", "kim@example.org", list(Event))
        return "subscribed"

    assert sorted(decided(database, ask, ask)) == ["duplicate", "subscribed"]


def test_two_owners_cannot_make_each_other_leave_at_once(operator, database):
    caller = system_caller(operator.organisation_id, "test")
    with database.transaction() as session:
        logins = ("a@example.org", "b@example.org")
        people = [add_person(session, caller, START, one, "An Owner", Role.OWNER)[0] for one in logins]
        ids = [format_id(IdKind.PERSON, person.id) for person in people]

    def leave(session: Session, reference: str) -> str:
        disable_person(session, caller, START, reference)
        return "left"

    both = [lambda session, one=one: leave(session, one) for one in ids]
    assert sorted(decided(database, *both)) == ["left", "state-transition"]


@pytest.mark.parametrize("seconds", [3.0])
def test_writers_and_readers_do_not_get_in_each_other_s_way(operator, seconds):
    operator.post("/v1/vehicles", VAN)
    statuses: Counter[int] = Counter()
    lock = threading.Lock()
    n_stored = [0] * 8
    end = time.monotonic() + seconds

    def note(status: int) -> None:
        with lock:
            statuses[status] += 1

    def write(place: int) -> bool:
        while time.monotonic() < end:
            minute = n_stored[place]
            row = {
                "vehicle": "VAN-07",
                "taken_at": f"2026-04-01T{minute // 60:02d}:{minute % 60:02d}:{place:02d}Z",
                "odometer": 84_000.0,
                "reference": f"{place}-{minute}",
            }
            answer = operator.post("/v1/readings", {"readings": [row]})
            note(answer.status_code)
            n_stored[place] += answer.status_code == 200 and answer.json()["rejected"] == 0
        return True

    def read(_: int) -> bool:
        while time.monotonic() < end:
            note(operator.get("/v1/vehicles/VAN-07/readings?limit=5").status_code)
        return True

    at_once([lambda place=place: write(place) for place in range(8)] + [lambda: read(0)] * 4)
    assert set(statuses) == {200}
    stored, path = 0, "/v1/readings?limit=500"
    while path:
        page = operator.get(path)
        stored += len(page.json()["readings"])
        path = page.links.get("next", {}).get("url")
    assert stored == sum(n_stored) > 8
