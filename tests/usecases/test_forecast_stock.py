"""What the forecast makes of a fleet's records: habits, top-ups, published visits, a shared rise in use, repeats."""

from datetime import date, timedelta

import numpy as np
import pytest

from service.domain.weeks import IsoWeek
from service.store.tables.due_lists import DueList, DueListLine
from service.usecases.access.caller import system_caller
from service.usecases.forecast.fleet_jobs import load_fleet_jobs
from service.usecases.forecast.forecast_stock import forecast_stock
from tests.service_fixtures import START

ATF = {"fluid": "ATF-A", "kind": "automatic_transmission_car"}
GEARBOX = {
    "kind": "automatic_transmission_car",
    "fluid": "ATF-A",
    "total_litres": 10.0,
    "drainable_litres": 4.5,
    "interval_months": 12,
    "last_service_on": "2024-01-01",
}


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", ATF).status_code == 201
    return operator


def add_van(shop, number, compartment):
    shop.post("/v1/vehicles", {"vehicle": f"VAN-{number}", "class": "van", "depot": "North"})
    answer = shop.post(f"/v1/vehicles/VAN-{number}/compartments", compartment)
    assert answer.status_code == 201, answer.text
    return int(answer.json()["id"].removeprefix("cmp_"))


def serve(shop, number, done_at, method, litres):
    work = {
        "compartment": "automatic_transmission_car",
        "method": method,
        "rounds": [
            {"drained_litres": 0.0 if method == "top_up" else one, "filled_litres": one} for one in litres
        ],
    }
    body = {"vehicle": f"VAN-{number}", "done_at": done_at.isoformat(), "compartments": [work]}
    answer = shop.post("/v1/services", body)
    assert answer.status_code == 201, answer.text


def forecast(database, shop, n_weeks=4):
    with database.snapshot() as session:
        return forecast_stock(session, system_caller(shop.organisation_id, "test"), START, n_weeks)


def test_the_workshop_s_own_habit_of_rounds_is_weighed_against_the_recommendation(database, shop):
    """Recommended are three rounds of 4.5 litres (0.55^3 < 0.25 < 0.55^2), done were two, ten times out of ten.

    The recommendation counts as ten services, so the next job takes 9 or 13.5 litres, evenly: 11.25 on average.
    """
    add_van(shop, 1, GEARBOX)
    for number in range(10, 0, -1):
        serve(shop, 1, START - timedelta(days=10 * number), "drain_and_fill", [4.5, 4.5])
    add_van(shop, 2, GEARBOX)
    (atf,) = forecast(database, shop).fluids
    assert atf.weekly.mean[0] == pytest.approx(11.25)
    assert (atf.weekly.q10[0], atf.weekly.q90[0]) == (9.0, 13.5)


def test_top_ups_go_on_as_they_did(database, shop):
    """Four top-ups of half a litre in the four weeks on record: half a litre a week; on Monday at 8, 20/21 of it."""
    add_van(shop, 1, GEARBOX | {"last_service_on": "2026-04-01", "interval_months": 60})
    for week in range(4, 0, -1):
        serve(shop, 1, START - timedelta(weeks=week), "top_up", [0.5])
    (atf,) = forecast(database, shop).fluids
    assert atf.weekly.mean[1:] == pytest.approx(0.5, abs=1e-3)
    assert atf.weekly.mean[0] == pytest.approx(0.5 * 20 / 21, abs=1e-3)


def test_a_published_visit_takes_its_litres_in_its_week(database, shop):
    compartment_id = add_van(shop, 1, GEARBOX)
    with database.transaction() as session:
        row = DueList(
            organisation_id=shop.organisation_id,
            iso_week="2026-W19",
            due_at=START,
            published_at=START,
            n_lines=1,
            content_hash="0" * 64,
        )
        session.add(row)
        session.flush()
        session.add(
            DueListLine(
                organisation_id=shop.organisation_id,
                due_list_id=row.id,
                position=1,
                vehicle_id=1,
                compartment_id=compartment_id,
                vehicle="VAN-1",
                compartment="automatic_transmission_car",
                depot="North",
                kind="automatic_transmission_car",
                reason="overdue",
                limit_reached="calendar",
                planned_on=date(2026, 5, 13),
                method="drain_and_fill",
                n_rounds=3,
                litres=13.5,
                labour_minutes=95,
                change="new",
                first_listed_week="2026-W19",
            )
        )
    (atf,) = forecast(database, shop).fluids
    assert atf.weekly.mean == pytest.approx([0.0, 13.5, 0.0, 0.0], abs=1e-6)


def test_a_hard_driven_van_comes_back_and_all_vans_share_a_rise_in_use(database, shop):
    """200 km a day, an oil that lasts 3,000 km: over eight weeks 56 days / 15 days = 3.7 changes, each of 6 litres."""
    shop.post("/v1/fluids", {"fluid": "OIL-B", "kind": "engine_oil_diesel_light"})
    oil = {
        "kind": "engine_oil_diesel_light",
        "fluid": "OIL-B",
        "total_litres": 6.0,
        "drainable_litres": 6.0,
        "interval_km": 3000,
        "last_service_on": "2026-05-04",
        "last_service_odometer_km": 80000,
    }
    add_van(shop, 1, oil)
    readings = [
        {
            "vehicle": "VAN-1",
            "taken_at": (START - timedelta(days=day, hours=1)).isoformat(),
            "odometer": 80000 - 200 * day,
            "unit": "km",
        }
        for day in range(0, 365, 5)
    ]
    assert shop.post("/v1/readings", {"readings": readings}).json()["accepted"] == len(readings)
    found = forecast(database, shop, 8)
    oil_b = next(one for one in found.fluids if one.line.fluid.reference == "OIL-B")
    assert oil_b.total.mean[0] / 6.0 == pytest.approx(56 / 15 - 0.5, abs=0.4)
    with database.snapshot() as session:
        jobs = load_fleet_jobs(session, shop.organisation_id, START, 8)
    assert jobs.weeks[0] == IsoWeek(2026, 19)
    assert len(jobs) >= 3
    assert jobs.vehicle_id.tolist() == [1] * len(jobs)
    assert np.all(np.diff(jobs.shock.factor) > 0.0)
    first = jobs.due_probability[:, 0]
    assert np.all(np.diff(first, axis=0) >= -1e-6), "who drives more is due no later"
    assert first[-1, 2] > first[0, 2]
