"""The forecast of stock goes by what the due lists will ask for, not by when a fluid may be worn."""

from datetime import timedelta

import numpy as np
import pytest

from service.domain.fluid_ageing import AGEING_DEFAULTS
from service.domain.fluid_kinds import FluidKind
from service.domain.weeks import IsoWeek
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import system_caller
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.forecast.forecast_stock import forecast_stock
from service.usecases.forecast.listing_days import listing_days
from service.usecases.forecast.next_lists import NextLists
from service.usecases.visits.fleet_names import load_names, project_in_blocks
from service.usecases.visits.visit_jobs import collect_jobs
from service.usecases.week.publish_due_list import draft_list, publish_list
from tests.service_fixtures import START

WEEK = IsoWeek.of(START.date())
KM_A_DAY = 100.0
ODOMETER = 80_000.0
OIL = {
    "kind": "engine_oil_diesel_light",
    "fluid": "OIL-B",
    "total_litres": 6.0,
    "drainable_litres": 6.0,
    "interval_km": 40_000,
    "interval_months": 48,
    "life_km": 20_000,
    "last_service_on": "2026-01-04",
    "last_service_odometer_km": ODOMETER - 120 * KM_A_DAY,
}
"""Done 120 days ago; most likely worn at .85 of its life after 17,000 km, less what the days take."""

LIFE_A_DAY = 1.0 / AGEING_DEFAULTS[FluidKind.ENGINE_OIL_DIESEL_LIGHT].life_days.value
"""Oil ages while it stands, too."""


@pytest.fixture
def shop(operator):
    assert operator.post("/v1/fluids", {"fluid": "OIL-B", "kind": OIL["kind"]}).status_code == 201
    return operator


def add_van(shop, **facts):
    """A van that drives the same distance every day, and its oil; gives the oil's compartment."""
    assert (
        shop.post("/v1/vehicles", {"vehicle": "VAN-1", "class": "van", "depot": "North"}).status_code == 201
    )
    answer = shop.post("/v1/vehicles/VAN-1/compartments", OIL | facts)
    assert answer.status_code == 201, answer.text
    readings = [
        {
            "vehicle": "VAN-1",
            "taken_at": (START - timedelta(days=day, hours=1)).isoformat(),
            "odometer": ODOMETER - KM_A_DAY * day,
            "unit": "km",
        }
        for day in range(0, 364, 2)
    ]
    assert shop.post("/v1/readings", {"readings": readings}).json()["accepted"] == len(readings)
    return answer.json()["id"]


def forecast(database, shop, n_weeks=26):
    with database.snapshot() as session:
        found = forecast_stock(session, system_caller(shop.organisation_id, "test"), START, n_weeks)
    return next(one for one in found.fluids if one.line.fluid.reference == "OIL-B").weekly.mean


def first_listed(database, shop, n_weeks=26):
    """How many weeks ahead the first list lies that would take the oil, as far as is known now."""
    with database.snapshot() as session:
        for ahead in range(n_weeks):
            lines, _ = draft_list(session, shop.organisation_id, WEEK.shifted(ahead), START)
            if lines:
                return ahead
    return n_weeks


def plan_with(database, **planning):
    with database.transaction() as session:
        organisation = session.get(Organisation, 1)
        organisation.planning = planning


@pytest.mark.parametrize("probability", [0.2, 0.5, 0.8])
def test_doubt_that_no_reading_will_lift_does_not_spread_the_work(database, shop, probability):
    """How worn oil is varies by a third, so it may be due in any of ten weeks; the list that asks for it is one."""
    add_van(shop)
    plan_with(database, listing_probability=probability)
    weekly = forecast(database, shop)
    listed = first_listed(database, shop)
    assert listed < 26
    near = weekly[max(listed - 1, 0) : listed + 2].sum()
    assert near > 0.8 * 6.0
    assert abs(int(np.argmax(weekly)) - listed) <= 1


def test_a_published_list_takes_what_stands_on_it_and_nothing_else(database, shop):
    """Overdue by a month, and the present week's list was fixed without it: next week."""
    with database.transaction() as session:
        caller = system_caller(shop.organisation_id, "test")
        publish_list(session, caller, WEEK, START, START, "test", ([], {}))
    add_van(shop, interval_months=3)
    assert forecast(database, shop, 4) == pytest.approx([0.0, 6.0, 0.0, 0.0], abs=1e-3)
    assert forecast(database, shop, 1) == pytest.approx([0.0], abs=1e-3)


def test_without_a_published_list_what_is_overdue_is_taken_this_week(database, shop):
    add_van(shop, interval_months=3)
    assert forecast(database, shop, 4) == pytest.approx([6.0, 0.0, 0.0, 0.0], abs=1e-3)


def test_a_job_that_was_listed_long_before_its_date_takes_its_litres_all_the_same(database, shop):
    """Once its visit is planned it is done then, though its interval was lengthened and it is not due for a year."""
    own = add_van(shop, interval_months=3)
    with database.snapshot() as session:
        draft = draft_list(session, shop.organisation_id, WEEK, START)
    with database.transaction() as session:
        publish_list(session, system_caller(shop.organisation_id, "test"), WEEK, START, START, "test", draft)
    answer = shop.patch(f"/v1/compartments/{own}", {"interval_months": 24, "life_km": 400_000})
    assert answer.status_code == 200, answer.text
    assert forecast(database, shop, 4) == pytest.approx([6.0, 0.0, 0.0, 0.0], abs=1e-3)


@pytest.mark.parametrize(
    ("facts", "days"),
    [
        ({"life_km": 400_000}, 400.0),  # 40,000 km at 100 a day
        ({"life_km": 400_000, "interval_months": 12}, 365.25),
        ({"life_km": 10_000}, 0.85 / (KM_A_DAY / 10_000 + LIFE_A_DAY)),
        ({"life_km": 400_000, "drainable_litres": 0.6}, 400.0 * (1.0 - 0.9**6)),  # six rounds of a tenth
    ],
)
def test_a_job_lasts_as_long_as_its_first_limit_and_the_share_that_it_renews(database, shop, facts, days):
    add_van(shop, **facts)
    with database.snapshot() as session:
        names = load_names(session, shop.organisation_id)
        jobs = collect_jobs(session, names, (WEEK,), START)
    assert jobs.interval_days == pytest.approx([days], rel=0.02)


def test_a_list_that_is_published_earlier_in_the_week_has_to_ask_earlier(database, shop):
    """What a vehicle runs from Monday on is less certain than what it runs from Sunday on."""
    add_van(shop, life_km=400_000)
    organisation_id = shop.organisation_id
    with database.snapshot() as session:
        names = load_names(session, organisation_id)
        (projection,) = project_in_blocks(session, names, START)
        recommended = recommend_exchange(projection.compartments)
        asked = [
            listing_days(projection, recommended, probability=0.2, days_ahead=days).first_days[0]
            for days in (8.0, 14.0)
        ]
        assert NextLists.of(session, names, (WEEK,), START).days_ahead == 10
    assert asked[1] < asked[0]
    answer = shop.patch("/v1/organisation", {"publishing_weekday": 1})
    assert answer.status_code == 200, answer.text
    with database.snapshot() as session:
        names = load_names(session, organisation_id)
        assert NextLists.of(session, names, (WEEK,), START).days_ahead == 14
