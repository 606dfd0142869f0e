"""How long a fleet's projection takes, from the database and back: 10,000 vehicles, 30 readings, 3 compartments each.

The baseline is the time that the engine's own functions take in the same run. Each run is as of another day, as each
night's is: SQLite writes no page on which every number is as it was.
"""

import gc
import resource
import time
from datetime import datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import func, insert, select, text

from service.store.repositories import projections
from service.store.tables.projections import Projection
from service.store.tables.readings import Reading
from service.usecases.due import age_fluids, project_due
from service.usecases.due import store_projections as stored
from service.usecases.due.store_projections import store_projections
from service.usecases.usage import estimate_usage
from service.usecases.usage.engine_time import days_of, instant_of
from tests.benchmarks.large_fleet import build_fleet_of
from tests.benchmarks.large_store import load_large_fleet
from tests.service_fixtures import START

pytestmark = pytest.mark.bench

N_VEHICLES = 10_000
N_READINGS = 30
ENGINE_CALLS = (
    (estimate_usage, "filter_readings"),
    (estimate_usage, "update"),
    (estimate_usage, "outlook_of"),
    (age_fluids, "age"),
    (project_due, "forecast_due"),
    (stored, "odometer_quantiles"),
)


def add_readings(database, organisation_id: int, fleet) -> None:
    """Store the invented fleet's readings as accepted ones, and forget how vehicles run, as after a weekly fit."""
    vehicle = np.repeat(np.arange(1, N_VEHICLES + 1), np.diff(fleet.offsets))
    rows = [
        {
            "organisation_id": organisation_id,
            "vehicle_id": int(key),
            "taken_at": instant_of(days),
            "odometer": km,
            "odometer_km": km,
            "used_km": km,
            "unit": "km",
            "source": "bench",
            "outcome": "accepted",
            "received_at": START,
        }
        for key, days, km in zip(
            vehicle, days_of(fleet.epoch) + fleet.time_days, fleet.odometer_km, strict=True
        )
    ]
    with database.transaction() as session:
        session.execute(insert(Reading), rows)
        projections.mark_all_stale(session, organisation_id)


@pytest.fixture
def engine_seconds(monkeypatch) -> list[float]:
    """What the engine's functions took, one entry a call, while the use cases called them."""
    seconds: list[float] = []

    def timed(function):
        def call(*arguments, **named):
            began = time.perf_counter()
            answer = function(*arguments, **named)
            seconds.append(time.perf_counter() - began)
            return answer

        return call

    for module, name in ENGINE_CALLS:
        monkeypatch.setattr(module, name, timed(getattr(module, name)))
    return seconds


@pytest.mark.parametrize("database", ["sqlite", "postgres"], indirect=True)
def test_projecting_ten_thousand_vehicles(database, engine_seconds, capsys):
    """Print the seconds from readings to stored projections, and how many times those of the engine they are."""
    organisation_id = load_large_fleet(database, N_VEHICLES, 10, START, 480)
    fleet = build_fleet_of(N_VEHICLES, N_READINGS, START)
    gc.freeze()
    project(database, organisation_id, START)
    collect_statistics(database)
    engine_seconds.clear()
    warm, n_rows, peak = project(database, organisation_id, START + timedelta(days=1))
    warm_engine = sum(engine_seconds)
    add_readings(database, organisation_id, fleet)
    engine_seconds.clear()
    cold, _, _ = project(database, organisation_id, START + timedelta(days=2))
    cold_engine = sum(engine_seconds)
    gc.unfreeze()
    with database.snapshot() as session:
        assert session.execute(select(func.count()).select_from(Projection)).scalar_one() == N_VEHICLES
    with capsys.disabled():
        print(
            f"\n{database.engine.dialect.name}, {N_VEHICLES} vehicles, {n_rows} compartments: "
            f"{warm:.2f} s from stored states, {warm / warm_engine:.1f} times the engine; "
            f"{cold:.2f} s from all readings, {cold / cold_engine:.1f} times; "
            f"peak {peak / N_VEHICLES:.0f} bytes a vehicle"
        )


def collect_statistics(database) -> None:
    """Give PostgreSQL what it collects by itself within a minute."""
    if not database.is_sqlite:
        with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("ANALYZE"))


def project(database, organisation_id: int, now: datetime) -> tuple[float, int, int]:
    """Seconds, rows and bytes by which the process grew in one run over the whole fleet."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.perf_counter()
    with database.transaction() as session:
        n_rows = store_projections(session, organisation_id, list(range(1, N_VEHICLES + 1)), now)
    seconds = time.perf_counter() - began
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    return seconds, n_rows, grown * 1024
