"""Simulated fleets with known truth, from several processes that are not the filter's own model.

Every process gives the distance of each vehicle on each day. All figures are invented; the processes differ in what
makes distance vary: trips with heavy tails, weekly work, timetables, spells of use, decline with age, a shock to all.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """Readings of n vehicles, one vehicle after the other, and the true odometer at the end of every day."""

    time_days: Floats
    odometer_km: Floats
    offsets: Integers
    true_km: Floats  # (n, days + 1): odometer at time 0, 1, 2 …

    def true_at(self, vehicle: int, time_days: float) -> float:
        """True odometer at a time, a day's distance spread evenly."""
        return float(np.interp(time_days, np.arange(self.true_km.shape[1]), self.true_km[vehicle]))


def _own(rng: np.random.Generator, n: int, median: float, log_sd: float) -> Floats:
    """One factor a vehicle."""
    return median * np.exp(log_sd * rng.standard_normal((n, 1)))


def _steps(rng: np.random.Generator, n: int, days: int, years_between: float, log_sd: float) -> Floats:
    """Factor that jumps to a new level now and then and stays there: a change of work or of driver."""
    jumps = rng.random((n, days)) < 1.0 / (365.0 * years_between)
    level = np.cumsum(np.where(jumps, log_sd * rng.standard_t(4, (n, days)), 0.0), axis=1)
    return np.exp(np.clip(level, -1.5, 1.2))


def _spells(rng: np.random.Generator, n: int, days: int, days_between: float, mean_length: float) -> Floats:
    """0 on days of parked spells (holiday, repair, off the road), else 1."""
    parked = np.zeros((n, days + 1))
    vehicle, start = np.nonzero(rng.random((n, days)) < 1.0 / days_between)
    length = np.maximum(1, rng.exponential(mean_length, vehicle.size)).astype(int)
    np.add.at(parked, (vehicle, start), 1.0)
    np.add.at(parked, (vehicle, np.minimum(start + length, days)), -1.0)
    return (np.cumsum(parked[:, :-1], axis=1) < 0.5).astype(float)


def _season(rng: np.random.Generator, n: int, days: int, amplitude: float) -> Floats:
    """Yearly factor, not quite the same for every vehicle."""
    phase = 1.9 + 0.4 * rng.standard_normal((n, 1))
    height = amplitude * rng.uniform(0.3, 1.7, (n, 1))
    return 1.0 + height * np.sin(2.0 * np.pi * np.arange(days)[None, :] / 365.25 - phase)


def _persistent(rng: np.random.Generator, n: int, days: int, days_back: float, sd: Floats) -> Floats:
    """Stationary first-order autoregression with standard deviation `sd` and memory `days_back`."""
    rho = np.exp(-1.0 / days_back)
    value = rng.standard_normal((n, 1))
    out = np.empty((n, days))
    shocks = np.sqrt(1.0 - rho * rho) * rng.standard_normal((days, n))
    for day in range(days):
        value = rho * value + shocks[day][:, None]
        out[:, day] = value[:, 0]
    return sd * out


def weekly_work(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Log rate reverting within weeks, weekends, parked spells, some vehicles with one change of work."""
    week = np.array([1.1, 1.15, 1.1, 1.1, 1.15, 0.8, 0.6])[(np.arange(days) + rng.integers(7)) % 7]
    log_rate = _persistent(rng, n, days, 45.0, _own(rng, n, 0.35, 0.3))
    noise = np.exp(0.6 * rng.standard_normal((n, days)) - 0.18)
    return (
        _own(rng, n, 60.0, 0.6)
        * np.exp(log_rate)
        * noise
        * week
        * _spells(rng, n, days, 194.0, 14.0)
        * _steps(rng, n, days, 4.0, 0.4)
        * _season(rng, n, days, 0.12)
    )


def private_cars(rng: np.random.Generator, n: int, days: int) -> Floats:
    """A commute on workdays that changes with the job, errands, and rare long journeys with a heavy tail."""
    workday = (np.arange(days) + rng.integers(7)) % 7 < 5
    commute = _own(rng, n, 22.0, 0.8) * _steps(rng, n, days, 2.5, 0.6) * workday
    commute = commute * (rng.random((n, days)) < rng.uniform(0.3, 1.0, (n, 1)))
    errands = rng.gamma(0.7, _own(rng, n, 12.0, 0.4), (n, days))
    journey = rng.random((n, days)) < _own(rng, n, 1.0 / 35.0, 0.5) * _season(rng, n, days, 0.5)
    length = 150.0 * (1.0 + rng.pareto(2.2, (n, days)))
    return (commute + errands + np.where(journey, np.minimum(length, 1500.0), 0.0)) * _spells(
        rng, n, days, 150.0, 8.0
    )


def slow_drift(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Heavy-tailed trips whose number a day follows a slow random walk: no personal level to go back to."""
    annual = _own(rng, n, 0.3, 0.4)
    walk = np.cumsum(annual / np.sqrt(365.0) * rng.standard_normal((n, days)), axis=1)
    trips = rng.poisson(np.minimum(1.2 * np.exp(walk), 20.0))
    length = np.exp(0.9 * rng.standard_normal((n, days))) * _own(rng, n, 18.0, 0.7)
    return trips * length * _season(rng, n, days, 0.15)


def city_buses(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Timetabled days of much the same length, now and then another line, workshop stays, later the reserve."""
    week = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.75, 0.55])[np.arange(days) % 7]
    reserve = np.where(np.arange(days)[None, :] > rng.uniform(0.3, 3.0, (n, 1)) * days, 0.55, 1.0)
    return (
        _own(rng, n, 190.0, 0.25)
        * _steps(rng, n, days, 1.0, 0.15)
        * np.maximum(1.0 + 0.25 * rng.standard_normal((n, days)), 0.0)
        * week
        * reserve
        * _spells(rng, n, days, 60.0, 6.0)
    )


def pool_vehicles(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Booked in spells: idle, about town or far away for some weeks; handed to another department at times."""
    rate = np.array([1.0, 22.0, 75.0])
    state = rng.integers(3, size=n)
    path = np.empty((n, days), dtype=np.int64)
    leave = 1.0 / np.array([12.0, 40.0, 25.0])
    for day in range(days):
        moves = rng.random(n) < leave[state]
        state = np.where(moves, (state + rng.integers(1, 3, size=n)) % 3, state)
        path[:, day] = state
    day_noise = rng.gamma(0.8, 1.25, (n, days))
    return rate[path] * day_noise * _own(rng, n, 1.0, 0.5) * _steps(rng, n, days, 1.5, 0.5)


def ageing_cars(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Driven less every year, with lasting deviations of some months and exponential days."""
    decline = np.exp(-np.arange(days)[None, :] / 365.0 * rng.uniform(0.0, 0.15, (n, 1)))
    months = np.exp(_persistent(rng, n, days, 120.0, _own(rng, n, 0.3, 0.3)))
    daily = rng.exponential(1.0, (n, days))
    return _own(rng, n, 38.0, 0.5) * decline * months * daily * _season(rng, n, days, 0.1)


def common_shock(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Private cars of which all drive far less for some months, and rather less ever after."""
    start = int(rng.uniform(0.4, 0.7) * days)
    factor = np.ones(days)
    factor[start:] = 0.85
    factor[start : start + 75] = 0.4
    return private_cars(rng, n, days) * factor


def steady_with_shifts(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Very even for years, then a large lasting change at once; nothing in the past announces it."""
    week = np.array([1.05, 1.05, 1.05, 1.05, 1.05, 0.9, 0.85])[np.arange(days) % 7]
    even = np.maximum(1.0 + 0.2 * rng.standard_normal((n, days)), 0.0)
    return _own(rng, n, 120.0, 0.6) * even * week * _steps(rng, n, days, 2.5, 0.3)


def seasonal_work(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Busy half the year, nearly idle in the other half, more so for some vehicles."""
    busy = _season(rng, n, days, 0.6)
    daily = rng.gamma(1.5, 1.0 / 1.5, (n, days))
    return _own(rng, n, 45.0, 0.5) * np.maximum(busy, 0.05) * daily * _steps(rng, n, days, 3.0, 0.3)


def changing_jobs(rng: np.random.Generator, n: int, days: int) -> Floats:
    """A new level of the rate every other year, calm drivers and restless ones, and tours of some days now and then."""
    restless = _own(rng, n, 1.0, 0.5)
    job = np.cumsum((rng.random((n, days)) < 1.0 / 640.0).astype(np.int64), axis=1)
    level = np.take_along_axis(0.3 * rng.standard_normal((n, int(job.max()) + 1)), job, axis=1)
    log_rate = level + _persistent(rng, n, days, 100.0, 0.18 * restless)
    shape = np.broadcast_to(2.2 / restless**2, (n, days))
    daily = np.exp(log_rate) * rng.gamma(shape, 1.0 / shape) * _own(rng, n, 32.0, 0.5)
    vehicle, start = np.nonzero(rng.random((n, days)) < _own(rng, n, 1.0 / 110.0, 0.6))
    tour = 40.0 * np.exp(0.8 * rng.standard_normal(vehicle.size))
    for day in range(8):
        np.add.at(daily, (vehicle, np.minimum(start + day, days - 1)), tour)
    return daily * _spells(rng, n, days, 120.0, 7.0) * _season(rng, n, days, 0.12)


def holiday_cars(rng: np.random.Generator, n: int, days: int) -> Floats:
    """Errands on some days, a few long holidays a year, and journeys so rare and long that no average is sure."""
    active = rng.random((n, days)) < rng.uniform(0.45, 1.0, (n, 1))
    errands = rng.gamma(0.8, _own(rng, n, 30.0, 0.6), (n, days))
    daily = errands * active * _steps(rng, n, days, 1.75, 0.35)
    journey = rng.random((n, days)) < _own(rng, n, 1.0 / 30.0, 0.7)
    daily += np.where(journey, np.minimum(90.0 * (1.0 + rng.pareto(1.8, (n, days))), 2000.0), 0.0)
    vehicle, start = np.nonzero(rng.random((n, days)) < _own(rng, n, 3.0 / 365.0, 0.5))
    length = rng.integers(5, 24, vehicle.size)
    each_day = 900.0 * np.exp(0.8 * rng.standard_normal(vehicle.size)) / length
    for day in range(24):
        away = np.flatnonzero(day < length)
        np.add.at(daily, (vehicle[away], np.minimum(start[away] + day, days - 1)), each_day[away])
    return daily * _spells(rng, n, days, 150.0, 10.0)


def lasting_drift(rng: np.random.Generator, n: int, days: int) -> Floats:
    """The level walks and jumps for good, so that next year is not like this one, while months hang together."""
    walk = np.cumsum(0.35 / np.sqrt(365.0) * rng.standard_normal((n, days)), axis=1)
    level = np.exp(np.clip(walk, -1.5, 1.2)) * _steps(rng, n, days, 2.0, 0.4)
    months = np.exp(_persistent(rng, n, days, 40.0, _own(rng, n, 0.16, 0.3)))
    daily = rng.exponential(1.0, (n, days))
    return _own(rng, n, 30.0, 0.5) * level * months * daily * _spells(rng, n, days, 120.0, 7.0)


PROCESSES: dict[str, Callable[[np.random.Generator, int, int], Floats]] = {
    process.__name__: process
    for process in (
        weekly_work, private_cars, slow_drift, city_buses, pool_vehicles, ageing_cars, common_shock,
        steady_with_shifts, seasonal_work, changing_jobs, holiday_cars, lasting_drift,
    )
}  # fmt: skip


def simulate_fleet(
    rng: np.random.Generator,
    process: str,
    n_vehicles: int,
    days: int = 1100,
    mean_gap_days: float = 30.0,
    irregularity: float = 0.35,
    km_between: float | None = None,
) -> Fleet:
    """Simulate a fleet whose odometers are read about every `mean_gap_days`, rounded to whole kilometres.

    With `km_between` they are read after about so many kilometres instead, as when refuelling, so that busy weeks
    have more readings than quiet ones.
    """
    daily = PROCESSES[process](rng, n_vehicles, days)
    start = rng.uniform(0.0, 120_000.0, (n_vehicles, 1))
    true_km = np.concatenate([start, start + np.cumsum(daily, axis=1)], axis=1)
    shape = 1.0 / irregularity**2
    times, readings, counts = [], [], []
    for vehicle in range(n_vehicles):
        if km_between is None:
            gaps = rng.gamma(shape, mean_gap_days / shape, int(2 * days / mean_gap_days) + 5)
            at = np.cumsum(np.maximum(gaps, 0.3)) - gaps[0] + rng.uniform(0.0, 1.0)
            at = at[at < days]
        else:
            km = true_km[vehicle] - true_km[vehicle, 0]
            due = np.cumsum(km_between * rng.uniform(0.4, 1.6, int(2.5 * km[-1] / km_between) + 5))
            at = np.searchsorted(km, due[due < km[-1]]).astype(np.float64)
            at = np.unique(at)
        times.append(at)
        readings.append(np.floor(np.interp(at, np.arange(days + 1), true_km[vehicle])))
        counts.append(at.size)
    return Fleet(
        time_days=np.concatenate(times),
        odometer_km=np.concatenate(readings),
        offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        true_km=true_km,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """A fleet's readings as people keyed them, in order of time within each vehicle, with what is wrong."""

    time_days: Floats
    keyed_km: Floats
    offsets: Integers
    is_wrong: NDArray[np.bool_]


def key_in(
    rng: np.random.Generator, fleet: Fleet, wrong_share: float = 0.07, repeated_share: float = 0.02
) -> Keyed:
    """Key in readings with mistakes: junk, a digit lost, added or changed, another vehicle, same-day repeats."""
    times, keyed, wrong, counts = [], [], [], []
    n_vehicles = fleet.offsets.size - 1
    for vehicle in range(n_vehicles):
        own = slice(int(fleet.offsets[vehicle]), int(fleet.offsets[vehicle + 1]))
        rows = [(t, z, False) for t, z in zip(fleet.time_days[own], fleet.odometer_km[own], strict=True)]
        for place, (time, km, _) in enumerate(list(rows)):
            if rng.random() < wrong_share:
                rows[place] = (time, _mistake(rng, fleet, n_vehicles, vehicle, time, km), True)
                if rng.random() < 0.15:
                    rows.append((time, km, False))
            elif rng.random() < repeated_share:
                rows.append((time, km, False))
        rows.sort(key=lambda row: row[0])
        times.append([row[0] for row in rows])
        keyed.append([row[1] for row in rows])
        wrong.append([row[2] for row in rows])
        counts.append(len(rows))
    return Keyed(
        time_days=np.concatenate(times),
        keyed_km=np.concatenate(keyed),
        offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        is_wrong=np.concatenate(wrong).astype(bool),
    )


def _mistake(
    rng: np.random.Generator, fleet: Fleet, n_vehicles: int, vehicle: int, time: float, km: float
) -> float:
    """One wrong entry; at least 50 km from the right one."""
    digits = str(int(km))
    place = int(rng.integers(len(digits)))
    other = (vehicle + 1 + int(rng.integers(max(n_vehicles - 1, 1)))) % n_vehicles
    changed = digits[:place] + str(int(rng.integers(10))) + digits[place + 1 :]
    kinds = (
        float(rng.choice([1, 11, 111, 1111, 11111, 1234, 123456, 999999, 0])),
        float((digits[:place] + digits[place + 1 :]) or "0"),
        float(digits[:place] + str(int(rng.integers(10))) + digits[place:]),
        float(changed),
        np.floor(fleet.true_at(other, time)),
    )
    value = float(rng.choice(np.array(kinds), p=[0.3, 0.2, 0.1, 0.2, 0.2]))
    return value if abs(value - km) >= 50.0 else km + 10_000.0
