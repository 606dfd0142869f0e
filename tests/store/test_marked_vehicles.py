"""What is kept of vehicles that were read: each its own time and its own end, whatever was said of it before."""

from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import event
from sqlmodel import select

from service.store.repositories.stale_vehicles import mark_read, mark_stale
from service.store.tables.readings import VehicleUsage
from service.store.tables.vehicles import Vehicle
from tests.service_fixtures import START

EARLY, LATE = START - timedelta(days=9), START - timedelta(days=2)
HOUR = timedelta(hours=1)
START_US = np.datetime64(START.replace(tzinfo=None), "us")


def kept(session):
    rows = session.exec(select(VehicleUsage).order_by(VehicleUsage.vehicle_id)).all()
    return [(row.is_stale, row.is_fluid_stale, row.changed_from, row.reading_end) for row in rows]


def test_every_vehicle_keeps_its_own_time_and_end(operator, database):
    for name in ("marked", "fresh", "later", "unknown"):
        operator.post("/v1/vehicles", {"vehicle": name, "class": "van"})
    with database.transaction() as session:
        keys = sorted(session.exec(select(Vehicle.id)).all())
        mark_stale(session, operator.organisation_id, keys[:3], EARLY)
        for row in session.exec(select(VehicleUsage)).all():
            row.is_stale, row.is_fluid_stale = False, False
        session.flush()
        times = dict(zip((keys[0], keys[2]), (EARLY, LATE), strict=True))
        mark_stale(session, operator.organisation_id, list(times), EARLY, times)
        changed_from = [LATE, LATE + HOUR, LATE - HOUR, LATE + 2 * HOUR]
        instants = np.array([at.replace(tzinfo=None) for at in changed_from], dtype="datetime64[us]")
        ends = [bytes([0, 255, place, 39, 0]) for place in range(4)]
        mark_read(session, operator.organisation_id, START, np.array(keys), instants, b"".join(ends))
    with database.snapshot() as session:
        told = kept(session)
    assert [row[:2] for row in told] == [(True, False)] * 4
    assert [row[2] for row in told] == [EARLY, LATE + HOUR, LATE - HOUR, LATE + 2 * HOUR]
    assert [row[3] for row in told] == ends


def test_one_call_after_another_moves_the_end_alone(operator, database):
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    for number, at in enumerate((EARLY, LATE)):
        with database.transaction() as session:
            keys = np.array(session.exec(select(Vehicle.id)).all())
            instants = np.array([at.replace(tzinfo=None)], dtype="datetime64[us]")
            mark_read(session, operator.organisation_id, START, keys, instants, bytes([number]) * 7)
    with database.snapshot() as session:
        assert [row[2:] for row in kept(session)] == [(EARLY, bytes([1]) * 7)]


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_sqlite_finds_the_row_of_each_vehicle_by_its_key(operator, database):
    """The oracle is SQLite's own plan; the other way round it would read all vehicles for each that was read."""
    operator.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van"})
    sent = []
    event.listen(
        database.engine,
        "before_cursor_execute",
        lambda *told: sent.append((told[2], told[3])) if told[2] else None,
    )
    with database.transaction() as session:
        mark_read(session, operator.organisation_id, START, np.array([1]), np.array([START_US]), b"end")
        asked = [one for one in sent if "reading_end" in one[0]]
        plans = [
            session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {one[0]}", one[1]).all()
            for one in asked
        ]
    moved, marked = ([row[3] for row in plan] for plan in plans)
    assert moved[0].startswith("SCAN listed")
    assert moved[1] == "SEARCH vehicle_usage USING INTEGER PRIMARY KEY (rowid=?)"
    assert [step for step in marked if "vehicle_usage" in step] == []
