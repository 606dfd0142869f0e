"""A draft that uses what an earlier one left behind is the draft that would be worked out from nothing."""

from datetime import timedelta

import numpy as np
import pytest

from service.domain.weeks import IsoWeek
from service.store.repositories import projections
from service.store.tables.ageing_fits import AgeingFit
from service.store.tables.organisation import Organisation
from service.usecases.due.refresh_fleet import refresh_fleet
from service.usecases.usage.usage_model import known_usage
from service.usecases.visits import kept_jobs, level_depots
from service.usecases.visits.kept_work import KeptWork
from service.usecases.week.publish_due_list import draft_list
from tests.engine.visits.instances import fleet
from tests.web import small_fleet
from tests.web.small_fleet import FRIDAY

WEEK = IsoWeek(2026, 19)


@pytest.fixture
def drafts(operator, clock, database, monkeypatch):
    """Draft the week with what is kept and without; gives how many vehicles and depots were worked out anew."""
    small_fleet.fill(operator, clock)
    read(operator, "TRUCK-1", 1500)
    refresh(database, operator)
    kept, projected, levelled = KeptWork(), [], []

    def project(session, organisation_id, vehicle_ids, *others):
        projected.extend(vehicle_ids)
        return project_columns(session, organisation_id, vehicle_ids, *others)

    def level(visits, bays):
        levelled.append(len(visits.vehicle_index))
        return level_visits(visits, bays)

    project_columns, level_visits = kept_jobs.project_columns, level_depots.level_visits

    def draft(now=FRIDAY, week=WEEK):
        projected.clear(), levelled.clear()
        with monkeypatch.context() as patch:
            patch.setattr(kept_jobs, "project_columns", project)
            patch.setattr(level_depots, "level_visits", level)
            with database.snapshot() as session:
                shown = draft_list(session, operator.organisation_id, week, now, kept)
        with database.snapshot() as session:
            assert shown == draft_list(session, operator.organisation_id, week, now)
        assert shown[0]
        return len(projected), len(levelled)

    draft.refresh = lambda: refresh(database, operator)
    return draft


def refresh(database, operator):
    with database.transaction() as session:
        while refresh_fleet(session, operator.organisation_id, FRIDAY):
            pass


def read(operator, vehicle, odometer):
    row = {"vehicle": vehicle, "taken_at": FRIDAY.isoformat(), "odometer": odometer}
    done(operator.post("/v1/readings", {"readings": [row]}))


def done(answer):
    assert answer.status_code in {200, 201, 204}, answer.text
    return answer


def test_nothing_is_worked_out_again_where_nothing_changed(drafts):
    assert drafts() == (3, 2)
    assert drafts() == (0, 0)


def test_a_pin_moves_visits_of_its_depot_alone(drafts, operator):
    drafts()
    done(operator.post("/v1/visits/pins", {"vehicle": "VAN-01", "kind": "on", "day": "2026-05-07"}))
    assert drafts() == (0, 1)


def test_a_reading_has_its_vehicle_projected_again(drafts, operator):
    drafts()
    read(operator, "VAN-02", 20_100)
    assert drafts()[0] == 1
    assert drafts()[0] == 1  # its state is not stored yet
    drafts.refresh()
    assert drafts()[0] == 1
    assert drafts() == (0, 0)


def test_every_change_to_a_vehicle_is_noticed(drafts, operator):
    """Each of them changes the draft of one vehicle, or of one that was not there before."""
    drafts()
    work = {
        "compartment": "gearbox",
        "method": "drain_and_fill",
        "fluid": "Red Seven",
        "level_celsius": 40,
        "counter_reset": True,
        "rounds": [{"drained_litres": 3.5, "filled_litres": 3.5}],
    }
    service = {
        "vehicle": "VAN-01",
        "done_at": (FRIDAY - timedelta(hours=1)).isoformat(),
        "odometer": 79_950,
        "compartments": [work],
        "late_entry": True,
    }
    done(operator.post("/v1/services", service))
    drafts.refresh()
    assert drafts()[0] == 1
    done(operator.patch("/v1/vehicles/VAN-02", {"duty": "severe"}))
    drafts.refresh()
    assert drafts()[0] == 1
    new = small_fleet.GEARBOX | {"compartment": "second gearbox", "last_service_on": "2018-05-07"}
    done(operator.post("/v1/vehicles/VAN-02/compartments", new))
    drafts.refresh()
    assert drafts()[0] == 1
    done(operator.post("/v1/vehicles", {"vehicle": "VAN-03", "class": "van", "depot": "South"}))
    done(operator.post("/v1/vehicles/VAN-03/compartments", new))
    assert drafts()[0] == 1
    assert drafts()[0] == 1  # nobody read it yet, so there is nothing to go on from
    done(operator.delete("/v1/vehicles/VAN-01"))
    assert drafts()[0] == 1


@pytest.mark.parametrize(
    "change",
    [
        {"planning": {"listing_probability": 0.2}},
        {"planning": {"labour_minor_an_hour": 1}},
        {"time_zone": "Pacific/Auckland"},
    ],
)
def test_what_all_vehicles_rest_on_has_all_projected_again(drafts, operator, database, change):
    drafts()
    with database.transaction() as session:
        organisation = session.get(Organisation, operator.organisation_id)
        for name, value in change.items():
            setattr(organisation, name, value)
        session.add(organisation)
    assert drafts()[0] == 3


def test_so_have_a_price_an_instant_and_another_week(drafts, operator):
    drafts()
    pack = {"litres": 60.0, "price_minor": 100}
    done(operator.patch("/v1/fluids/Red Seven", {"packs": [pack]}))
    assert drafts()[0] == 3
    assert drafts(now=FRIDAY + timedelta(seconds=1))[0] == 3
    assert drafts(week=IsoWeek(2026, 20))[0] == 3


def test_so_has_a_rate_that_was_fitted(drafts, operator, database):
    drafts()
    with database.transaction() as session:
        session.add(
            AgeingFit(
                organisation_id=operator.organisation_id,
                kind="automatic_transmission_car",
                duty="normal",
                vehicle_class="van",
                multiplier_before=1.0,
                multiplier_after=3.0,
                multiplier_log_sd=0.1,
                n_samples=9,
                accepted_at=FRIDAY,
                accepted_by="test",
            )
        )
    assert drafts()[0] == 3


def test_so_has_a_season(drafts, monkeypatch):
    drafts()

    class Seasons:
        seasons = ("another",)

    monkeypatch.setattr(kept_jobs, "known_usage", lambda *_: Seasons)
    assert drafts()[0] == 3
    assert known_usage is not kept_jobs.known_usage


def test_hours_of_a_depot_move_its_own_visits_alone(drafts, operator):
    drafts()
    done(operator.patch("/v1/depots/South", {"bay_minutes": [90] * 5 + [0, 0]}))
    assert drafts() == (0, 1)


def test_a_state_that_was_lost_is_noticed(drafts, operator, database):
    """A vehicle whose states are to be estimated from all its readings counts as changed."""
    drafts()
    with database.transaction() as session:
        projections.mark_all_stale(session, operator.organisation_id)
    assert drafts()[0] == 3


@pytest.mark.parametrize("seed", range(5))
def test_depots_levelled_one_by_one_are_those_levelled_together(seed):
    visits, bays = fleet(120, 4, 5, seed=seed)
    visits.pinned_day[::17] = 8
    together = level_depots.level_visits(visits, bays)
    by_depot = level_depots.level_depots(visits, bays, {})
    day, outcome = np.full((2, 120), -9)
    for depot, one in by_depot.items():
        day[one.rows], outcome[one.rows] = one.levelled.day, one.levelled.outcome
        np.testing.assert_array_equal(one.levelled.booked_hours[0], together.booked_hours[depot])
        np.testing.assert_array_equal(one.levelled.overbooked_hours[0], together.overbooked_hours[depot])
    np.testing.assert_array_equal(day, together.day)
    np.testing.assert_array_equal(outcome, together.outcome)
