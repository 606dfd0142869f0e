"""The nightly projection of whole fleets: once a night and after every fit, in parts, each done once."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from service.jobs.fleet_projection import NightlyProjection
from service.store.repositories import fleet_ranges
from service.store.tables.projections import Projection, UsageModel
from service.usecases.due import project_fleet
from service.usecases.due.project_fleet import chunks_of, due_since
from tests.jobs.vans import add_due_van

N_VANS = 5


@pytest.fixture
def fleet(operator, monkeypatch):
    monkeypatch.setattr(project_fleet, "VEHICLES_A_CHUNK", 2)
    for number in range(N_VANS):
        add_due_van(operator, f"VAN-{number}", "2026-06-01")
    return operator


def stored(database):
    with database.snapshot() as session:
        query = select(Projection.as_of, func.count()).group_by(Projection.as_of)
        return {row[0]: row[1] for row in session.execute(query)}


def test_a_fleet_is_projected_once_a_night(fleet, database, clock):
    projection = NightlyProjection(database, clock, "node")
    first = clock.now()
    projection.run_if_due()
    assert stored(database) == {first: N_VANS}
    clock.advance(timedelta(hours=18, minutes=59))
    projection.run_if_due()
    assert stored(database) == {first: N_VANS}, "02:59 on the next day"
    clock.advance(timedelta(minutes=1))
    projection.run_if_due()
    assert stored(database) == {clock.now(): N_VANS}


def test_a_new_fit_asks_for_new_projections(fleet, database, clock):
    NightlyProjection(database, clock, "node").run_if_due()
    clock.advance(timedelta(hours=1))
    with database.transaction() as session:
        zeros = {
            "hyperparameters": {},
            "log_rate_by_class": {},
            "log_rate_sd_by_class": {},
            "season_by_class": {},
        }
        session.add(
            UsageModel(organisation_id=fleet.organisation_id, fitted_at=clock.now(), n_vehicles=20, **zeros)
        )
    with database.snapshot() as session:
        assert due_since(session, fleet.organisation_id, clock.now()) == clock.now()


def test_what_was_stopped_goes_on_where_it_was(fleet, database, clock):
    began = clock.now()
    projection = NightlyProjection(database, clock, "node")
    done = []

    def stop_after_one(database, chunk, do_chunk=project_fleet.project_chunk):
        with database.transaction() as session:
            done.append(do_chunk(session, chunk))
        projection.stop()
        return done[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("service.jobs.fleet_projection.do_chunk", stop_after_one)
        projection.run_if_due()
    assert done == [2]
    clock.advance(timedelta(minutes=1))
    NightlyProjection(database, clock, "another node").run_if_due()
    assert stored(database) == {began: 2, clock.now(): N_VANS - 2}


def test_a_large_fleet_lets_other_work_have_its_turn(fleet, database, clock, monkeypatch):
    monkeypatch.setattr("service.jobs.fleet_projection.PARTS_A_TICK", 1)
    projection = NightlyProjection(database, clock, "node")
    numbers = []
    for _ in range(4):
        projection.run_if_due()
        numbers.append(stored(database)[clock.now()])
    assert numbers == [2, 4, 5, 5]


def test_a_part_with_a_compartment_that_came_since_is_not_done(fleet, database, clock):
    first = clock.now()
    NightlyProjection(database, clock, "node").run_if_due()
    clock.advance(timedelta(minutes=10))
    axle = {"compartment": "rear axle", "kind": "axle", "total_litres": 2.0}
    assert fleet.post("/v1/vehicles/VAN-4/compartments", axle).status_code == 201
    with database.snapshot() as session:
        parts = [chunk.part for chunk in chunks_of(session, fleet.organisation_id, first, clock.now())]
        done = [fleet_ranges.is_projected_since(session, part, first) for part in parts]
    assert done == [True, True, False]


def test_a_retired_vehicles_projection_is_dropped(fleet, database, clock):
    NightlyProjection(database, clock, "node").run_if_due()
    for name in ("VAN-0", "VAN-4"):
        assert fleet.delete(f"/v1/vehicles/{name}").status_code == 204
    clock.advance(timedelta(days=1))
    NightlyProjection(database, clock, "node").run_if_due()
    assert stored(database) == {clock.now(): N_VANS - 2}


@pytest.mark.parametrize(
    ("zone", "night"),
    [
        ("UTC", datetime(2026, 5, 4, 3, tzinfo=UTC)),
        ("Pacific/Kiritimati", datetime(2026, 5, 3, 13, tzinfo=UTC)),
        ("America/Los_Angeles", datetime(2026, 5, 3, 10, tzinfo=UTC)),
    ],
)
def test_the_night_is_the_organisations_own(join, database, clock, zone, night):
    """Kiritimati is 14 hours ahead of UTC, Los Angeles 7 behind in summer (IANA time zone database)."""
    own = join(time_zone=zone)
    with database.snapshot() as session:
        assert due_since(session, own.organisation_id, clock.now()) == night
