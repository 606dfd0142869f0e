"""The first page of a fleet of 5,000 vehicles: small, quick, and with as many queries as that of a small one."""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import event, insert

from service.store.session import Database
from service.store.tables.due_lists import DueList, DueListLine
from service.store.tables.organisation import Depot
from service.store.tables.vehicles import Vehicle

N_VEHICLES = 5000
N_LINES = 900
AT = datetime(2026, 5, 1, 6, 0, tzinfo=UTC)
WEEK = "/due-lists/2026-W19"


@pytest.fixture
def large(workshop, database):
    """Invented vehicles, a list that was published for them; somebody is signed in."""
    key = workshop.operator.organisation_id
    with database.transaction() as session:
        depot = Depot(organisation_id=key, reference="North", bay_minutes=[960] * 7, created_at=AT)
        listed = DueList(
            organisation_id=key,
            iso_week="2026-W19",
            due_at=AT,
            published_at=AT,
            n_lines=N_LINES,
            since_last={"list": None, "done": [], "moved": []},
            content_hash="0" * 64,
        )
        session.add_all([depot, listed])
        session.flush()
        vehicles = [_vehicle(key, depot.id, number) for number in range(1, N_VEHICLES + 1)]
        session.execute(insert(Vehicle), vehicles)
        session.execute(
            insert(DueListLine), [_line(key, listed.id, number) for number in range(1, N_LINES + 1)]
        )
    return workshop.come_in()


def _vehicle(organisation_id: int, depot_id: int | None, number: int) -> dict[str, object]:
    return {
        "organisation_id": organisation_id,
        "depot_id": depot_id,
        "reference": f"VAN-{number:04d}",
        "vehicle_class": "van",
        "duty": "normal",
        "odometer_unit": "km",
        "available_weekdays": 127,
        "version": 1,
        "created_at": AT,
    }


def _line(organisation_id: int, list_id: int | None, number: int) -> dict[str, object]:
    detail = {
        "due_by_week_end_probability": 0.75,
        "seals": [{"part": "washer", "pieces": 1}],
        "cautions": ["Hot."],
    }
    return {
        "organisation_id": organisation_id,
        "due_list_id": list_id,
        "position": number,
        "vehicle_id": number,
        "compartment_id": number,
        "vehicle": f"VAN-{number:04d}",
        "compartment": "gearbox",
        "depot": "North",
        "kind": "automatic_transmission_car",
        "fluid": "Red Seven",
        "reason": "The interval ends in about 420 km; the maker gives 60,000 km.",
        "limit_reached": "distance",
        "due_q10_on": date(2026, 5, 4),
        "due_q50_on": date(2026, 5, 8),
        "due_q90_on": date(2026, 5, 20),
        "overdue_probability": 0.1,
        "planned_on": date(2026, 5, 4 + number % 5),
        "method": "drain_and_fill",
        "n_rounds": 3,
        "litres": 10.5,
        "labour_minutes": 95,
        "change": "new",
        "first_listed_week": "2026-W19",
        "detail": detail,
    }


@contextmanager
def counted(database: Database) -> Iterator[list[str]]:
    statements: list[str] = []

    def note(_connection, _cursor, statement, *_rest) -> None:
        statements.append(statement)

    event.listen(database.engine, "before_cursor_execute", note)
    yield statements
    event.remove(database.engine, "before_cursor_execute", note)


def test_the_first_page_is_small_and_quick(large, database):
    """Under 100 kB with all that it loads, and 300 ms of processor time: the machine may have other work."""
    large.get(WEEK)
    taken = []
    for _ in range(5):
        started = time.process_time()
        page = large.get(WEEK)
        taken.append(time.process_time() - started)
    assert page.status_code == 200
    assets = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text))
    assert len(assets) >= 2
    assert len(page.content) + sum(len(large.get(path).content) for path in assets) < 100_000
    assert min(taken) < 0.3
    with counted(database) as statements:
        large.get(WEEK)
    assert len(statements) <= 10


def test_the_totals_are_of_the_whole_list_and_its_pages_hold_every_line_once(large):
    page = large.get(WEEK).text
    assert f"Open lines: {N_LINES} of {N_LINES}." in page
    assert "9\u202f450.0\u00a0L" in page  # 900 lines of 10.5 L
    seen = [
        line
        for number in range(1, 24)
        for line in large.get(f"{WEEK}?page={number}").text.split('name="done" value="')[1:]
    ]
    keys = [line.partition('"')[0] for line in seen]
    assert len(keys) == len(set(keys)) == N_LINES


def test_the_list_of_vehicles_asks_no_more_for_more_vehicles(large, database):
    with counted(database) as of_one:
        large.get("/vehicles?vehicle=VAN-0001")
    with counted(database) as of_many:
        page = large.get("/vehicles")
    assert len(of_many) <= len(of_one)
    assert len(page.content) < 100_000
    assert "Vehicles found: 5\u202f000" in page.text
