"""The jobs that may fall into the coming weeks, over a whole fleet: when, how likely, and what each takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.exchange_methods import ExchangeMethod
from service.domain.weeks import IsoWeek, weeks_from
from service.engine.arrays import Floats, Integers
from service.engine.demand.jobs import DemandJobs
from service.engine.demand.usage_shock import UsageShock, usage_shock_nodes
from service.engine.due.forecast import forecast_due
from service.engine.due.limits import CompartmentLimits, Meter
from service.store.repositories import consumption
from service.usecases.due.project_due import FleetProjection
from service.usecases.fluids.recommend_exchange import MAX_ROUNDS, Recommendation, recommend_exchange
from service.usecases.forecast.limits_each_time import limits_each_time
from service.usecases.forecast.listing_days import listing_days
from service.usecases.forecast.next_lists import NextLists
from service.usecases.usage.usage_model import shared_log_sd
from service.usecases.visits.fleet_names import load_names, project_in_blocks

N_SCENARIOS: Final = 5
"""Scenarios of fleet-wide use; five integrate the mean and the variance of any smooth demand. Own choice."""

NEGLIGIBLE_PROBABILITY: Final = 1e-6
"""Jobs less likely than this to fall due in time are left out."""

ROUNDS_LOOK_BACK: Final = timedelta(days=730)
RECOMMENDED_WEIGHT: Final = 10.0
"""The recommended number of rounds counts as so many services done; then the workshop's own habit wins. Own choice."""

ROUND_DIFFERENCES: Final = np.arange(-2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetJobs:
    """n jobs that may be done within the weeks, one entry a job in every column.

    A compartment that comes back within the weeks has several.
    """

    weeks: tuple[IsoWeek, ...]
    shock: UsageShock
    due_probability: NDArray[np.float32]
    """Shape (scenarios, n, weeks): that the list of the week or one before it asked for the job; a visit on the
    published list is certain from its week on."""

    vehicle_id: Integers
    fluid_id: Integers
    """0 where the compartment names no fluid."""

    kind: list[str]
    seals: list[list[dict[str, Any]]]
    option_litres: Floats
    """Shape (n, ways)."""

    option_probability: Floats
    """Shape (n, ways)."""

    def __len__(self) -> int:
        return self.vehicle_id.size

    @property
    def mean_litres(self) -> Floats:
        """Litres that each job takes on average, shape (n,)."""
        mean: Floats = (self.option_litres * self.option_probability).sum(axis=1)
        return mean

    def mean_done(self) -> Floats:
        """Probability that each job is done in each week, over all scenarios, shape (n, weeks)."""
        by_end = np.einsum("s,snw->nw", self.shock.weight, self.due_probability.astype(np.float64))
        return np.diff(by_end, axis=1, prepend=0.0)

    def demand(self, rows: Integers, pool_index: Integers, quantity: Floats | None = None) -> DemandJobs:
        """Put some jobs to the demand forecast; with `quantity` each takes that much, else its litres."""
        litres = self.option_litres[rows] if quantity is None else quantity[:, None]
        probability = self.option_probability[rows] if quantity is None else np.ones((rows.size, 1))
        return DemandJobs(
            pool_index=pool_index.astype(np.int64),
            vehicle_index=self.vehicle_id[rows],
            due_probability=self.due_probability[:, rows].astype(np.float64),
            option_quantity=litres.ravel(),
            option_probability=probability.ravel(),
            option_offsets=np.arange(rows.size + 1, dtype=np.int64) * litres.shape[1],
        )


def load_fleet_jobs(session: Session, organisation_id: int, now: datetime, n_weeks: int) -> FleetJobs:
    """Collect the jobs of all vehicles in use, a block of vehicles at a time."""
    names = load_names(session, organisation_id)
    shock = usage_shock_nodes(shared_log_sd(session, organisation_id), N_SCENARIOS)
    habits = _round_habits(session, organisation_id, now)
    weeks = weeks_from(IsoWeek.of(names.organisation.today(now)), n_weeks)
    lists = NextLists.of(session, names, weeks, now)
    projected = project_in_blocks(session, names, now, probabilities=(lists.listing_probability,))
    parts = [_jobs_of_block(projection, lists, shock, habits) for projection in projected]
    return _joined(parts, weeks, shock)


def _jobs_of_block(
    projection: FleetProjection, lists: NextLists, shock: UsageShock, habits: dict[str, Floats]
) -> dict[str, Any]:
    """Columns of the jobs of one block: those that are planned, and those that the lists may ask for."""
    columns = projection.compartments
    recommended = recommend_exchange(columns)
    days = listing_days(
        projection, recommended, probability=lists.listing_probability, days_ahead=lists.days_ahead
    )
    times = lists.times(projection, days)
    limits = limits_each_time(projection, days, times)
    week_ends = projection.question.week_end_days[: len(lists.weeks)]
    alone = np.stack(
        [_by_week_end(limits, _meters(projection, float(factor)), week_ends) for factor in shock.factor]
    )
    asked = lists.asked_by_end(alone, times.visit)
    may_be = asked[:, :, -1].max(axis=0, initial=0.0) > NEGLIGIBLE_PROBABILITY
    planned, step = lists.planned_by_end(columns["id"])
    certain = np.broadcast_to(step, (shock.weight.size, *step.shape))
    rows = np.concatenate([planned, times.job[may_be]])
    litres, probability = _ways(columns, recommended, habits, rows)
    return {
        "due_probability": np.concatenate([certain, asked[:, may_be]], axis=1).astype(np.float32),
        "vehicle_id": [columns["vehicle_id"][row] for row in rows],
        "fluid_id": [columns["fluid_id"][row] or 0 for row in rows],
        "kind": [columns["kind"][row] for row in rows],
        "seals": [columns["seals"][row] or [] for row in rows],
        "litres": litres,
        "probability": probability,
    }


def _meters(projection: FleetProjection, factor: float) -> tuple[Meter, Meter | None]:
    """Meters of a fleet that runs `factor` times as much from now on."""
    odometer, hours = projection.question.odometer, projection.question.hours
    return _running(odometer, factor), None if hours is None else _running(hours, factor)


def _by_week_end(
    limits: CompartmentLimits, meters: tuple[Meter, Meter | None], week_end_days: Floats
) -> Floats:
    """Probability of having reached a limit by the end of each week, what is overdue included."""
    by_week = forecast_due(
        limits,
        *meters,
        week_end_days=week_end_days,
        probabilities=np.empty(0),
    ).week_probability
    by_end = np.cumsum(by_week, axis=1, dtype=np.float64)
    return np.clip(np.maximum.accumulate(by_end, axis=1), 0.0, 1.0)


def _running(meter: Meter, factor: float) -> Meter:
    """Scale what a meter will add from now on; what it has added since its last reading is past."""
    every = np.arange(meter.last_reading.size, dtype=np.int64)
    passed = meter.moments(every, meter.days_since_reading)[0]

    def moments(rows: Integers, days: Floats) -> tuple[Floats, Floats]:
        mean, variance = meter.moments(rows, days)
        return passed[rows] + factor * (mean - passed[rows]), factor * factor * variance

    return Meter(
        last_reading=meter.last_reading, days_since_reading=meter.days_since_reading, moments=moments
    )


def _ways(
    columns: dict[str, list[Any]], recommended: Recommendation, habits: dict[str, Floats], rows: Integers
) -> tuple[Floats, Floats]:
    """Litres of each job for each number of rounds, and how likely that number is."""
    kinds = [columns["kind"][row] for row in rows]
    as_recommended = (ROUND_DIFFERENCES == 0).astype(np.float64)
    is_drained = np.array([recommended.method[row] is ExchangeMethod.DRAIN_AND_FILL for row in rows], bool)
    habit = [
        habits.get(kind, as_recommended) if drained else as_recommended
        for kind, drained in zip(kinds, is_drained, strict=True)
    ]
    probability = np.array(habit, np.float64).reshape(rows.size, ROUND_DIFFERENCES.size)
    drainable = np.array(columns["drainable_litres"], np.float64)[rows]
    rounds = np.clip(recommended.n_rounds[rows, None] + ROUND_DIFFERENCES, 1, MAX_ROUNDS)
    litres = np.where(is_drained[:, None], rounds * drainable[:, None], recommended.litres[rows, None])
    return litres, probability


def _round_habits(session: Session, organisation_id: int, now: datetime) -> dict[str, Floats]:
    """How often services by rounds took fewer or more rounds than recommended, by kind."""
    seen = consumption.count_rounds(session, organisation_id, now - ROUNDS_LOOK_BACK)
    if not seen:
        return {}
    columns: dict[str, list[Any]] = {
        "kind": [row[0] for row in seen],
        "total_litres": [row[1] for row in seen],
        "drainable_litres": [row[2] for row in seen],
        "return_rounds": [None] * len(seen),
        "is_contaminated": [False] * len(seen),
    }
    recommended = recommend_exchange(columns).n_rounds
    habits: dict[str, Floats] = {}
    for (kind, _, _, n_rounds, count), usual in zip(seen, recommended.tolist(), strict=True):
        weights = habits.setdefault(kind, RECOMMENDED_WEIGHT * (ROUND_DIFFERENCES == 0))
        difference = int(np.clip(n_rounds - usual, ROUND_DIFFERENCES[0], ROUND_DIFFERENCES[-1]))
        weights[difference - ROUND_DIFFERENCES[0]] += count
    return {kind: weights / weights.sum() for kind, weights in habits.items()}


def _joined(parts: Sequence[dict[str, Any]], weeks: tuple[IsoWeek, ...], shock: UsageShock) -> FleetJobs:
    """Put the blocks together."""
    columns: dict[str, list[Any]] = {
        name: [value for part in parts for value in part[name]]
        for name in ("vehicle_id", "fluid_id", "kind", "seals")
    }
    n_ways = ROUND_DIFFERENCES.size
    empty = np.zeros((shock.weight.size, 0, len(weeks)), np.float32)
    litres = np.concatenate([np.zeros((0, n_ways)), *(part["litres"] for part in parts)])
    probability = np.concatenate([np.zeros((0, n_ways)), *(part["probability"] for part in parts)])
    is_used = (ROUND_DIFFERENCES == 0) | (probability > 0.0).any(axis=0)
    return FleetJobs(
        weeks=weeks,
        shock=shock,
        due_probability=np.concatenate([empty, *(part["due_probability"] for part in parts)], axis=1),
        vehicle_id=np.array(columns["vehicle_id"], np.int64),
        fluid_id=np.array(columns["fluid_id"], np.int64),
        kind=columns["kind"],
        seals=columns["seals"],
        option_litres=litres[:, is_used],
        option_probability=probability[:, is_used],
    )
