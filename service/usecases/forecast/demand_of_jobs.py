"""What jobs will take in each week and up to each, as distributions: litres of a pool, pieces of every part."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.demand.forecast import DemandForecast, forecast_demand
from service.engine.demand.jobs import TopUps
from service.engine.demand.lattice import LatticeDistributions, select_distributions
from service.usecases.forecast.fleet_jobs import FleetJobs

N_EXACT: Final = 100
"""Vehicles a week up to which their sum is worked out exactly; beyond, the expansion errs by 0.01 at most (measured
on mixes of four quantities) and takes a tenth of the time."""

LITRES: Final = 0.25
PIECES: Final = 1.0
"""Steps in which amounts are counted, where they are not too many."""

MOST_STEPS: Final = 1_024
"""Where more than this can be needed at most, the steps are doubled: a quantile is then known to a thousandth of that,
the mean stays exact, and what is taken by the tanker does not fill the memory. Own choice."""


def step_for(finest: float, most: float) -> float:
    """Step in which an amount of at most `most` is counted."""
    doublings = np.ceil(np.log2(max(most / (MOST_STEPS * finest), 1.0)))
    return float(finest * 2.0**doublings)


def litres_of_jobs(jobs: FleetJobs, rows: Integers, top_ups: TopUps | None = None) -> DemandForecast:
    """Litres that some jobs take, and top-ups beside them, as one pool."""
    most = float(jobs.option_litres[rows].max(axis=1, initial=0.0).sum())
    return forecast_demand(
        jobs.demand(rows, np.zeros(rows.size, np.int64)),
        n_pools=1,
        shock=jobs.shock,
        top_ups=top_ups,
        step_quantity=step_for(LITRES, most),
        n_exact_max=N_EXACT,
    )


def pieces_of_jobs(jobs: FleetJobs, kept: Sequence[str]) -> tuple[list[str], DemandForecast]:
    """Names of all parts, kept or only named by a compartment, and what the jobs take of each, a pool a part."""
    taken = [
        (row, seal["part"], float(seal["pieces"])) for row, seals in enumerate(jobs.seals) for seal in seals
    ]
    names = sorted({*kept, *(part for _, part, _ in taken)})
    place = {name: number for number, name in enumerate(names)}
    rows = np.array([row for row, _, _ in taken], np.int64)
    pool = np.array([place[part] for _, part, _ in taken], np.int64)
    quantity: Floats = np.array([pieces for _, _, pieces in taken])
    demand = forecast_demand(
        jobs.demand(rows, pool, quantity),
        n_pools=len(names),
        shock=jobs.shock,
        step_quantity=PIECES,
        n_exact_max=N_EXACT,
    )
    return names, demand


def weeks_of_pool(demand: DemandForecast, pool: int) -> tuple[LatticeDistributions, LatticeDistributions]:
    """Weekly and cumulative demand of one pool."""
    weeks = pool * demand.n_weeks + np.arange(demand.n_weeks, dtype=np.int64)
    return select_distributions(demand.weekly, weeks), select_distributions(demand.cumulative, weeks)
