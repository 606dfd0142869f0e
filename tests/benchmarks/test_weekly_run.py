"""How long a draft and the whole weekly run take, and in how much memory; goals for two cores.

5,000 vehicles drafted in 3 s; 100,000 vehicles in 40 depots, projected and published, in 5 minutes and 2 GB.
"""

import multiprocessing
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from service.domain.weeks import IsoWeek
from service.jobs.weekly_run import run_weekly
from service.store.schema import upgrade_schema
from service.store.session import Database
from service.usecases.week.publish_due_list import draft_list
from tests.benchmarks.large_store import load_large_fleet

NOW: Final = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)
VEHICLES_A_DEPOT: Final = 2_500
BAY_MINUTES: Final = 2_600
"""A day and depot: a little more than the fleet needs in the long run."""


def make_store(folder: Path, n_vehicles: int) -> str:
    """Fill a new database; gives its address."""
    url = f"sqlite:///{folder / 'large.sqlite'}"
    database = Database(url, sqlite_synchronous="NORMAL")
    upgrade_schema(database)
    load_large_fleet(database, n_vehicles, max(n_vehicles // VEHICLES_A_DEPOT, 1), NOW, BAY_MINUTES)
    database.close()
    return url


def draft_once(url: str) -> tuple[float, float, int]:
    """Seconds, peak megabytes and lines of a draft."""
    database = Database(url)
    with database.snapshot() as session:
        draft_list(session, 1, IsoWeek(2026, 30), NOW)  # what is loaded once
        began = time.perf_counter()
        lines, _ = draft_list(session, 1, IsoWeek(2026, 19), NOW)
        return time.perf_counter() - began, _peak_megabytes(), len(lines)


def run_once(url: str) -> tuple[float, float, int]:
    """Seconds, peak megabytes and lists of the weekly run."""
    database = Database(url)
    began = time.perf_counter()
    n_lists = run_weekly(database, NOW, "node")
    return time.perf_counter() - began, _peak_megabytes(), n_lists


def _peak_megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def alone(task, url: str) -> tuple[float, float, int]:
    """Run in a process of its own, so that its peak memory is its own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(task, url).result()


@pytest.mark.bench
def test_the_draft_of_five_thousand_vehicles(tmp_path):
    seconds, megabytes, n_lines = alone(draft_once, make_store(tmp_path, 5_000))
    print(f"draft of 5,000 vehicles: {seconds:.2f} s, {megabytes:.0f} MB, {n_lines} lines")
    assert n_lines > 100
    assert seconds < 3.0


@pytest.mark.bench
def test_the_weekly_run_of_a_hundred_thousand_vehicles(tmp_path):
    """Cost is near linear: a fifth of the fleet takes at least a tenth of the time."""
    (tmp_path / "small").mkdir()
    small, _, _ = alone(run_once, make_store(tmp_path / "small", 20_000))
    seconds, megabytes, n_lists = alone(run_once, make_store(tmp_path, 100_000))
    print(f"weekly run: 20,000 vehicles {small:.1f} s; 100,000 {seconds:.1f} s, {megabytes:.0f} MB")
    assert n_lists == 1
    assert (seconds < 300.0, megabytes < 2048.0) == (True, True)
    assert seconds < 10.0 * small
