"""The jobs that visits are made of: every fluid of the fleet, when it is due at the latest, and what it costs early."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.planning_terms import planned_with
from service.domain.weeks import IsoWeek
from service.engine.arrays import Booleans, Floats, Integers
from service.engine.due.limits import Meter
from service.store.repositories import visits
from service.store.repositories.projections import PLANNED_COLUMNS
from service.units import DAYS_PER_MONTH, MINUTES_PER_HOUR
from service.usecases.due.project_due import FleetProjection
from service.usecases.fluids.recommend_exchange import recommend_exchange
from service.usecases.visits.fleet_names import FleetNames, listing_probability, project_in_blocks

RATE_DAYS: Final = 28.0
"""Daily use is that of the coming four weeks."""

LEAST_USE_A_DAY: Final = 0.01
"""Kilometres or hours; a vehicle that stands does not wear an interval out."""

LEAST_INTERVAL_DAYS: Final = 1.0

TOLERANCE: Final = 1e-6
"""Probabilities are summed in single precision."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitJobs:
    """n jobs, one a compartment that will be due some day, vehicles in ascending order; days count from now."""

    compartment_id: Integers
    vehicle_id: Integers
    labour_minutes: Floats
    latest_days: Floats
    """When the listing probability is reached."""

    interval_days: Floats
    early_minor_a_day: Floats
    """Price of the job by the days that it lasts."""

    due_by_end: Floats
    """Shape (n, weeks): probability of being due by the end of each week of the plan."""

    due_week: Integers
    """First week of the plan in which the listing probability is reached; the number of weeks means after them."""

    is_contaminated: Booleans

    def __len__(self) -> int:
        return self.vehicle_id.size

    def of_vehicles(self, vehicle_ids: Collection[int]) -> "VisitJobs":
        """The jobs of some vehicles."""
        return self.of(np.isin(self.vehicle_id, np.array(list(vehicle_ids), np.int64)))

    def of(self, rows: NDArray[Any]) -> "VisitJobs":
        """The jobs of some rows, by number or as marks."""
        return VisitJobs(**{one.name: getattr(self, one.name)[rows] for one in fields(self)})


def collect_jobs(session: Session, names: FleetNames, weeks: tuple[IsoWeek, ...], now: datetime) -> VisitJobs:
    """Project the fleet and keep of every compartment what a plan of these weeks needs, a block at a time."""
    prices = visits.prices_minor_a_litre(session, names.organisation.id or 0)
    asked = (listing_probability(names.organisation),)
    projected = project_in_blocks(session, names, now, wanted=PLANNED_COLUMNS, probabilities=asked)
    return joined_jobs([jobs_of(one, names, weeks, prices) for one in projected], len(weeks))


def joined_jobs(parts: Sequence[VisitJobs], n_weeks: int) -> VisitJobs:
    """Put the jobs of groups of vehicles into one order: vehicles, and compartments of each, ascending."""
    every = [_no_jobs(n_weeks), *parts]
    columns = {
        one.name: np.concatenate([getattr(part, one.name) for part in every]) for one in fields(VisitJobs)
    }
    order = np.lexsort((columns["compartment_id"], columns["vehicle_id"]))
    return VisitJobs(**{name: values[order] for name, values in columns.items()})


def _no_jobs(n_weeks: int) -> VisitJobs:
    """No job at all, with the types of the columns."""
    whole, real = np.zeros(0, np.int64), np.zeros(0)
    return VisitJobs(
        compartment_id=whole,
        vehicle_id=whole,
        labour_minutes=real,
        latest_days=real,
        interval_days=real,
        early_minor_a_day=real,
        due_by_end=np.zeros((0, n_weeks)),
        due_week=whole,
        is_contaminated=np.zeros(0, np.bool_),
    )


def jobs_of(
    projection: FleetProjection, names: FleetNames, weeks: tuple[IsoWeek, ...], prices: Mapping[int, float]
) -> VisitJobs:
    """The jobs of one block."""
    threshold = listing_probability(names.organisation)
    columns, planning = projection.compartments, names.organisation.planning
    recommended = recommend_exchange(columns)
    latest = projection.due.days_ahead[:, 0]
    rows = np.flatnonzero(np.isfinite(latest))
    fallback = planned_with(planning, "fluid_minor_a_litre")
    price = np.array([prices.get(key, fallback) for key in columns["fluid_id"]], np.float64)
    labour = planned_with(planning, "labour_minor_an_hour") / MINUTES_PER_HOUR
    job_minor = recommended.litres * price + recommended.labour_minutes * labour
    interval = np.maximum(recommended.interval_share * _interval_days(projection), LEAST_INTERVAL_DAYS)
    due_by_end = _due_by_end(projection, weeks)[rows]
    return VisitJobs(
        compartment_id=np.array(columns["id"], np.int64)[rows],
        vehicle_id=np.array(columns["vehicle_id"], np.int64)[rows],
        labour_minutes=recommended.labour_minutes[rows],
        latest_days=latest[rows],
        interval_days=interval[rows],
        early_minor_a_day=(job_minor / interval)[rows],
        due_by_end=due_by_end,
        due_week=first_week(is_asked_for(due_by_end, threshold)),
        is_contaminated=np.array(columns["is_contaminated"], np.bool_)[rows],
    )


def is_asked_for(due_by_end: Floats, threshold: float) -> Booleans:
    """Whether a list asks for it by the end of each week, from the probability that it is due by then."""
    return due_by_end >= threshold - TOLERANCE


def first_week(is_asked: Booleans) -> Integers:
    """First week that is marked in each row; the number of weeks where none is."""
    weeks: Integers = np.where(is_asked.any(axis=1), is_asked.argmax(axis=1), is_asked.shape[1])
    return weeks.astype(np.int64)


def _due_by_end(projection: FleetProjection, weeks: tuple[IsoWeek, ...]) -> Floats:
    """Probability of being due by the end of each week; beyond the weeks projected it stays as it is."""
    by_week = projection.due.week_probability
    ahead = [projection.weeks[0].weeks_until(week) for week in weeks]
    by_end = np.cumsum(by_week, axis=1, dtype=np.float64)[:, np.clip(ahead, 0, by_week.shape[1] - 1)]
    capped: Floats = np.clip(np.maximum.accumulate(by_end, axis=1), 0.0, 1.0)
    return capped


def _interval_days(projection: FleetProjection) -> Floats:
    """How long fresh fluid lasts at the vehicle's present use: until the first of its limits, the condition's too."""
    columns, rows, question = projection.compartments, projection.vehicle_row, projection.question
    km_a_day, hours_a_day = (
        np.full(rows.size, np.nan) if meter is None else use_a_day(meter)[rows]
        for meter in (question.odometer, question.hours)
    )
    days: Floats = np.array(columns["interval_months"], np.float64) * DAYS_PER_MONTH
    for name, use in (("interval_km", km_a_day), ("interval_hours", hours_a_day)):
        days = np.fmin(days, np.array(columns[name], np.float64) / use)
    ageing = question.limits.condition
    if ageing is not None:
        life_a_day = ageing.life_per_day + np.nan_to_num(ageing.life_per_km * km_a_day)
        life_a_day += np.nan_to_num(ageing.life_per_hour * hours_a_day)
        days = np.fmin(days, ageing.life_limit_fraction / life_a_day)
    return days


def use_a_day(meter: Meter) -> Floats:
    """What each vehicle is expected to add a day; NaN where nobody read the meter."""
    every = np.arange(meter.last_reading.size, dtype=np.int64)
    start = meter.moments(every, meter.days_since_reading)[0]
    later = meter.moments(every, meter.days_since_reading + RATE_DAYS)[0]
    use: Floats = np.maximum((later - start) / RATE_DAYS, LEAST_USE_A_DAY)
    return np.where(np.isnan(meter.last_reading), np.nan, use)
