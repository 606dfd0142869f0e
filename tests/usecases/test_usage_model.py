"""What a fleet teaches about its vehicles: learnt once a week by the tick, season included, and used everywhere."""

import csv
from contextlib import contextmanager
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import delete, insert

from service.cli import forecasts
from service.engine.demand.usage_shock import DEFAULT_LOG_SD
from service.engine.usage.season import YEAR_DAYS
from service.jobs.clock import Tick
from service.store.repositories import projections
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.projections import UsageModel
from service.store.tables.readings import Reading
from service.usecases.usage.estimate_usage import FleetUsage, current_usage, estimate_usage, meter
from service.usecases.usage.usage_model import known_usage, shared_log_sd
from tests.benchmarks.test_ingest_speed import add_vehicles
from tests.service_fixtures import START

N_VEHICLES = 30
SWING = 0.4


def read_for_three_years(database, organisation_id):
    """Vans that do far more in the first half of the year than in the second, read about monthly."""
    rng = np.random.default_rng(8)
    w = 2.0 * np.pi / YEAR_DAYS
    with database.transaction() as session:
        for vehicle in range(N_VEHICLES):
            days = np.cumsum(rng.gamma(9.0, 30.0 / 9.0, 37))
            days = days[days < 1090.0]
            instants = [START - timedelta(days=1095.0 - float(day)) for day in days]
            since = np.array([instant.timestamp() / 86_400.0 for instant in instants])
            clock = since - SWING / w * np.cos(w * since)
            km = 20_000.0 + np.cumsum(np.diff(clock, prepend=clock[0]) * rng.normal(60.0, 6.0, days.size))
            rows = [
                {
                    "organisation_id": organisation_id,
                    "vehicle_id": vehicle + 1,
                    "taken_at": instant,
                    "odometer": float(value),
                    "odometer_km": float(value),
                    "used_km": float(value),
                    "outcome": "accepted",
                    "received_at": instant,
                }
                for instant, value in zip(instants, np.floor(km), strict=True)
            ]
            session.execute(insert(Reading), rows)
        mark_stale(session, organisation_id, range(1, N_VEHICLES + 1), START)


@pytest.fixture
def fleet(database, operator):
    add_vehicles(database, operator.organisation_id, N_VEHICLES)
    read_for_three_years(database, operator.organisation_id)
    return operator


def fitted_at(database, organisation_id):
    with database.snapshot() as session:
        model = session.get(UsageModel, organisation_id)
        return None if model is None else model.fitted_at


def test_the_tick_learns_from_a_fleet_once_a_week(database, fleet, clock):
    tick = Tick(database, clock, checks_clock=False)
    tick()
    first = fitted_at(database, fleet.organisation_id)
    assert first == clock.now()
    with database.snapshot() as session:
        # Three years of steady vans that share nothing but their season: less of a swing than is assumed of any fleet.
        assert 0.0 < shared_log_sd(session, fleet.organisation_id) < DEFAULT_LOG_SD
        assert shared_log_sd(session, fleet.organisation_id + 1) == DEFAULT_LOG_SD
    clock.advance(timedelta(days=6))
    tick()
    assert fitted_at(database, fleet.organisation_id) == first
    clock.advance(timedelta(days=1))
    tick()
    assert fitted_at(database, fleet.organisation_id) == clock.now()


def test_a_small_fleet_teaches_nothing(database, operator, clock):
    add_vehicles(database, operator.organisation_id, 3)
    Tick(database, clock, checks_clock=False)()
    assert fitted_at(database, operator.organisation_id) is None


def test_the_season_moves_projected_distances_and_dates(database, fleet, clock):
    """The true rates of the coming quarter and of the one half a year later are 1.25 and 0.75 of the mean or so."""
    ids = list(range(1, N_VEHICLES + 1))
    Tick(database, clock, checks_clock=False)()
    with database.snapshot() as session:
        season = known_usage(session, fleet.organisation_id).seasons[0]
        stored = current_usage(session, fleet.organisation_id, ids)
        anew = estimate_usage(session, fleet.organisation_id, ids)
        assert projections.read_earlier_usage(session, fleet.organisation_id, ids)[1].changed_from is None
    assert np.hypot(season.sine[0], season.cosine[0]) == pytest.approx(SWING, abs=0.06)
    np.testing.assert_allclose(stored.odometer.to_array(), anew.odometer.to_array(), rtol=1e-9, atol=1e-9)
    spring, autumn = quarter(stored, clock, 0.0), quarter(stored, clock, 182.6)
    truth = true_days(clock, 0.0) / true_days(clock, 182.6)
    assert np.median(spring / autumn) == pytest.approx(truth, rel=0.12)
    table = meter(stored.odometer, clock.now(), stored.season)
    last = stored.last_read_days()
    assert np.all((table.days_since_reading > 0.0) & (table.days_since_reading < 120.0))
    assert np.allclose(table.days_since_reading, clock.now().timestamp() / 86_400.0 - last)


def quarter(usage: FleetUsage, clock, begin):
    """Expected distance of every vehicle in the quarter that begins so many days from now."""
    table = meter(usage.odometer, clock.now(), usage.season)
    rows = np.arange(N_VEHICLES)
    km = [table.moments(rows, table.days_since_reading + begin + days)[0] for days in (0.0, 91.3)]
    return km[1] - km[0]


def true_days(clock, begin):
    w = 2.0 * np.pi / YEAR_DAYS
    ends = clock.now().timestamp() / 86_400.0 + begin + np.array([0.0, 91.3])
    return float(np.diff(ends - SWING / w * np.cos(w * ends))[0])


def test_projections_of_a_fleet_with_a_season_answer(database, fleet, clock):
    Tick(database, clock, checks_clock=False)()
    fleet.post(
        "/v1/vehicles/VAN-0/compartments", {"kind": "automatic_transmission_car", "interval_km": 60_000}
    )
    body = fleet.get("/v1/vehicles/VAN-0/projection").json()
    assert 0.0 < body["km_per_day"]["p10"] < body["km_per_day"]["p90"]
    assert body["odometer_km"]["p10"] <= body["odometer_km"]["p90"]
    assert body["compartments"][0]["due"]["p50"]


def test_accuracy_is_shown_against_plain_averages(database, fleet, clock):
    Tick(database, clock, checks_clock=False)()
    answer = fleet.get("/v1/accuracy")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert body["n_vehicles"] == N_VEHICLES
    scores = {(score["method"], score["horizon_days"]): score for score in body["scores"]}
    methods = {method for method, _ in scores}
    assert len(methods) == 4
    assert {horizon for _, horizon in scores} >= {None, 30, 90, 180, 365}
    ours, plain = scores["service", None], [scores[method, None] for method in methods - {"service"}]
    assert ours["pinball_km"] < 0.9 * min(score["pinball_km"] for score in plain)
    assert sum(ours["pit"]) == pytest.approx(1.0, abs=0.001)
    assert ours["coverage_p10_p90"] + ours["below_p10"] + ours["above_p90"] == pytest.approx(1.0, abs=0.001)


def test_the_command_prints_the_same_scores_and_writes_them(
    database, fleet, clock, monkeypatch, tmp_path, capsys
):
    @contextmanager
    def opened():
        yield database, clock, None

    monkeypatch.setattr(forecasts, "opened_database", opened)
    forecasts.accuracy(out=tmp_path / "accuracy.csv", dates_out=tmp_path / "dates.csv", organisation=None)
    printed = capsys.readouterr().out.splitlines()
    with (tmp_path / "accuracy.csv").open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))
    with (tmp_path / "dates.csv").open(encoding="utf-8", newline="") as file:
        dates = list(csv.DictReader(file))
    assert printed[0] == f"{N_VEHICLES} vehicles"
    assert len(printed) == len(written) + len(dates) + 3
    shown = fleet.get("/v1/accuracy").json()
    assert [round(float(row["pinball_km"]), 2) for row in written] == [
        row["pinball_km"] for row in shown["scores"]
    ]
    held = [round(float(row["held_fraction"]), 4) for row in dates]
    assert len(held) > 3
    assert held == [row["held_p10_p90"] for row in shown["dates"]]


def test_dates_given_for_distances_ahead_held_about_as_often_as_promised(database, fleet, clock):
    """Steady vans with a strong season; monthly readings say nothing of dates two weeks or a month ahead."""
    Tick(database, clock, checks_clock=False)()
    dates = {score["horizon_days"]: score for score in fleet.get("/v1/accuracy").json()["dates"]}
    assert set(dates) == {None, 90, 180, 365}
    for score in dates.values():
        assert score["n_vehicles"] == N_VEHICLES
        assert score["held_p10_p90"] + score["before_p10"] + score["after_p90"] == pytest.approx(
            1.0, abs=0.001
        )
        assert score["absolute_error_days"] < 0.8 * score["plain_absolute_error_days"]
    assert 0.7 < dates[None]["held_p10_p90"] <= 1.0
    assert sum(dates[days]["n_dates"] for days in (90, 180, 365)) == dates[None]["n_dates"]


def test_dates_that_nobody_can_judge_yet_are_told_in_words(
    database, fleet, clock, monkeypatch, tmp_path, capsys
):
    """Histories that end before the last date that was given: no number in the table, the file or the answer."""

    @contextmanager
    def opened():
        yield database, clock, None

    monkeypatch.setattr(forecasts, "opened_database", opened)
    for days, words in ((225, "none can be judged yet"), (60, "No dates can be judged yet.")):
        with database.transaction() as session:
            session.execute(delete(Reading).where(Reading.taken_at > START - timedelta(days=1095 - days)))
        files = {"out": tmp_path / f"{days}.csv", "dates_out": tmp_path / f"dates_{days}.csv"}
        forecasts.accuracy(**files, organisation=None)
        printed = capsys.readouterr().out
        assert words in printed
        assert all("nan" not in text for text in (printed, *(file.read_text() for file in files.values())))
    with (tmp_path / "dates_225.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["n_dates"], row["held_fraction"], row["absolute_error_days"]) for row in rows] == [
        ("0", "", "")
    ] * len(rows)
    assert rows


def test_the_answer_has_no_number_where_no_date_can_be_judged_yet(database, fleet):
    with database.transaction() as session:
        session.execute(delete(Reading).where(Reading.taken_at > START - timedelta(days=1095 - 225)))
    dates = fleet.get("/v1/accuracy").json()["dates"]
    assert dates
    for score in dates:
        assert score["n_dates"] == 0 < score["n_open"]
        assert score["held_p10_p90"] is score["absolute_error_days"] is None
