"""From arrays to answers: screening, hyperparameters, filter, and due dates with 26 weeks, a whole fleet at once.

Invented vehicles with 30 readings, one in twenty with a mistyped one, and five compartments each. Wall and processor
seconds, the least of a few rounds, and the peak of the memory, inputs included, are printed, not judged; each fleet has
a process of its own. Run it with -s on a machine that has nothing else to do.
"""

import multiprocessing
import resource
import time

import numpy as np
import pytest

from service.engine.due.forecast import forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Meter
from service.engine.screening.screen import Entries, screen_readings
from service.engine.usage.filter import filter_readings
from service.engine.usage.fit import fit_hyperparameters
from service.engine.usage.predict import outlook_moments, outlook_of, positive_mean
from service.engine.usage.priors import configured_priors
from service.engine.usage.ragged import select

pytestmark = pytest.mark.bench

N_READINGS = 30
CLASS_RATE = 55.0
SHARE_MISTYPED = 0.05
WEEKS = 2.3 + 7.0 * np.arange(26)
INTERVALS_KM = (15e3, 40e3, 60e3, 80e3, 100e3)


class Stopwatch:
    """Least wall and processor seconds of each stage."""

    def __init__(self):
        self.stages = {}

    def __call__(self, name, action):
        wall, processor = time.perf_counter(), time.process_time()
        answer = action()
        taken = time.perf_counter() - wall, time.process_time() - processor
        self.stages[name] = tuple(np.minimum(taken, self.stages.get(name, np.inf)))
        return answer

    def lines(self, n_vehicles):
        """A line a stage, and their sum."""
        total = tuple(np.sum(list(self.stages.values()), axis=0))
        return [
            f"  {name:16s} {wall:6.2f} s wall {processor:6.2f} s processor, "
            f"{1e6 * processor / n_vehicles:6.2f} us a vehicle"
            for name, (wall, processor) in {**self.stages, "all": total}.items()
        ]


def monthly_entries(rng, n_vehicles):
    """Readings as keyed, about monthly."""
    gap = rng.gamma(30.0, 1.0, (n_vehicles, N_READINGS))
    km = np.exp(rng.normal(np.log(CLASS_RATE), 0.6, (n_vehicles, 1))) * rng.gamma(8.0, gap / 8.0)
    km[:, 0] += rng.uniform(0.0, 1e5, n_vehicles)
    time_days, keyed_km = np.cumsum(gap, axis=1), np.round(np.cumsum(km, axis=1))
    rows = np.flatnonzero(rng.random(n_vehicles) < SHARE_MISTYPED)
    keyed_km[rows, rng.integers(0, N_READINGS, rows.size)] *= rng.choice([10.0, 0.1, 1.609344], rows.size)
    offsets = np.arange(n_vehicles + 1) * N_READINGS
    return Entries.plain(time_days.ravel(), keyed_km.ravel(), offsets, np.full(n_vehicles, CLASS_RATE))


def five_compartments(rng, odometer_km, has_condition):
    """Anywhere in their intervals; most have a calendar limit as well."""
    n_vehicles = odometer_km.size
    row = np.repeat(np.arange(n_vehicles), len(INTERVALS_KM))
    interval, used = np.tile(INTERVALS_KM, n_vehicles), rng.uniform(0.0, 0.7, row.size)
    condition = Condition(
        life_used_fraction=used,
        life_used_sd_fraction=0.1 * used,
        life_limit_fraction=np.full(row.size, 0.8),
        life_per_km=1.0 / interval / 1.2,
        life_per_day=np.full(row.size, 1.0 / 3650.0),
        life_per_hour=np.zeros(row.size),
        rate_cv_fraction=np.full(row.size, 0.3),
    )
    return CompartmentLimits(
        vehicle_row=row,
        distance_km=odometer_km[row] + interval * rng.uniform(0.0, 1.0, row.size) - 200.0,
        hours=np.full(row.size, np.nan),
        calendar_days_ahead=np.where(rng.random(row.size) < 0.8, rng.uniform(-5.0, 900.0, row.size), np.nan),
        is_contaminated=np.zeros(row.size, dtype=np.bool_),
        condition=condition if has_condition else None,
    )


def odometers(state, days_since_reading):
    """The meters of a filtered fleet, as the due forecast asks about them."""
    outlook = outlook_of(state)

    def moments(rows, days):
        mean, variance = outlook_moments(outlook.take(rows), days)
        return positive_mean(mean, variance), variance

    return Meter(last_reading=state.last_odometer_km, days_since_reading=days_since_reading, moments=moments)


def accepted(watch, entries):
    """Times, odometers and offsets of what screening believes."""
    screening = watch("screening", lambda: screen_readings(entries))
    kept = screening.is_accepted
    return watch(
        "accepted ones",
        lambda: (entries.time_days[kept], screening.odometer_km[kept], select(kept, entries.offsets)),
    )


def measure(n_vehicles, has_condition):
    """Stopwatch of the chain, and the peak of this process's memory in bytes."""
    rng, watch = np.random.default_rng(1), Stopwatch()
    entries, age_days = monthly_entries(rng, n_vehicles), rng.uniform(0.0, 30.0, n_vehicles)
    for _ in range(max(300_000 // n_vehicles, 1)):
        run_chain(watch, entries, age_days, has_condition)
    return watch, 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def run_chain(watch, entries, age_days, has_condition):
    """Time every stage once."""
    priors = configured_priors(age_days.size)
    readings = accepted(watch, entries)
    fitted = watch("hyperparameters", lambda: fit_hyperparameters(*readings, priors))
    state = watch("filter", lambda: filter_readings(*readings, priors, fitted))
    limits = five_compartments(np.random.default_rng(2), state.last_odometer_km, has_condition)
    odometer = watch("outlook", lambda: odometers(state, age_days))
    forecast = watch("due, 26 weeks", lambda: forecast_due(limits, odometer, week_end_days=WEEKS))
    assert np.isfinite(forecast.week_probability).all()


@pytest.mark.parametrize("has_condition", [False, True], ids=["distance", "condition"])
@pytest.mark.parametrize("n_vehicles", [20_000, 100_000, 1_000_000])
def test_from_arrays_to_answers(capsys, n_vehicles, has_condition):
    """Print the stages of one fleet; processor time a vehicle is the same for all sizes where the cost is linear."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        watch, peak = pool.apply(measure, (n_vehicles, has_condition))
    with capsys.disabled():
        kind = "distance, calendar and condition" if has_condition else "distance and calendar"
        print(f"\n{n_vehicles} vehicles, five compartments with {kind}: peak {peak / 1e9:.2f} GB")
        print("\n".join(watch.lines(n_vehicles)))
