"""Litres per pool and week as a distribution over the jobs and top-ups that may fall in it."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers
from service.engine.demand.comonotone import group_jobs
from service.engine.demand.compound import compound_poisson_cumulants, compound_poisson_mass
from service.engine.demand.expansion import edgeworth_cdf
from service.engine.demand.jobs import DemandJobs, TopUps, check_jobs, check_options
from service.engine.demand.lattice import LatticeDistributions, pack_distributions
from service.engine.demand.quantities import cumulants_from_raw, quantity_mass, raw_moments
from service.engine.demand.usage_shock import UsageShock
from service.engine.demand.windows import GroupBlock, block_cumulants, exact_masses
from service.errors import InvalidInputError

# Above this many uncertain groups in a window the expansion is as good as exact: error of the distribution
# function 1e-4 at 2,000 independent jobs (measured against the exact sum).
N_EXACT_MAX: Final = 2_000
# Skewness above which the expansion is not trusted, whatever the number of jobs. Own choice.
_MAX_SKEWNESS: Final = 0.5
# In a window that is both skewed and above the limit, rarer groups are pooled: the distribution function errs
# by less than this times their expected number (Le Cam 1960). Own choice.
_RARE_PROBABILITY: Final = 0.005
# Longest mass function stored for an expansion. Own choice.
_MAX_POINTS: Final = 1_024
_REACH_SD: Final = 8.0
# Probabilities of groups held at once: half a mebibyte, which stays in a cache (measured). Own choice.
_MASS_AT_ONCE: Final = 65_536


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandForecast:
    """Demand of every pool; entry pool * n_weeks + week of either set of distributions."""

    n_weeks: int
    weekly: LatticeDistributions
    """What falls into each week."""
    cumulative: LatticeDistributions
    """What falls into all weeks up to and including each; not the sum of independent weeks."""
    is_exact: Booleans
    """Shape (2, pools, weeks): weekly and cumulative; False where an expansion or pooling was used."""


class _Summing(IntEnum):
    """How a window is summed."""

    EXACT = 0
    RARE_POOLED = 1
    EXPANSION = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pool:
    """What one pool's windows have in common."""

    blocks: list[GroupBlock]
    top_up_mass: Floats | None
    top_up_moments: Floats
    step_quantity: float
    n_exact_max: int


def _expansion_mass(cumulants: Floats, weight: Floats, step_quantity: float) -> tuple[float, float, Floats]:
    """First quantity, step and mass of a mixture of expansions; cumulants of shape (3, nodes)."""
    sd = np.sqrt(np.maximum(cumulants[1], 0.0))
    low = max(0.0, float((cumulants[0] - _REACH_SD * sd).min()))
    high = float((cumulants[0] + _REACH_SD * sd).max()) + step_quantity
    step = step_quantity
    while (high - low) / step > _MAX_POINTS:
        step *= 2.0
    first = np.floor(low / step) * step
    grid = first + step * np.arange(int(np.ceil((high - first) / step)) + 1)
    cdf = weight @ edgeworth_cdf(grid + 0.5 * step, cumulants)
    cdf[-1] = 1.0
    return float(first), float(step), np.diff(cdf, prepend=0.0)


def _summed_masses(
    pool: _Pool,
    bounds: tuple[Floats, Floats],
    top_up_count: Floats,
    weight: Floats,
    weeks: Integers,
    rare_probability: float,
) -> Iterator[Floats]:
    """Sum some weeks, as many at once as stay in a cache, and mix their usage scenarios.

    Bounds of shape (nodes, n, all weeks), top-ups (nodes, all weeks).
    """
    points = sum(block.members.size * block.mass.shape[2] for block in pool.blocks)
    at_once = max(_MASS_AT_ONCE // max(weight.size * points, 1), 1)
    for first in range(0, weeks.size, at_once):
        some = weeks[first : first + at_once]
        extra = None
        if pool.top_up_mass is not None:
            extra = compound_poisson_mass(top_up_count[:, some].ravel(), pool.top_up_mass)
        mass = exact_masses(pool.blocks, *bounds, some, extra, rare_probability)
        yield from np.einsum("s,swm->wm", weight, mass.reshape(weight.size, some.size, -1))


def _pool_windows(
    pool: _Pool,
    start: Floats,
    end: Floats,
    top_up_count: Floats,
    weight: Floats,
) -> tuple[list[tuple[float, float, Floats]], Booleans]:
    """All windows of one pool; start and end (nodes, n, weeks), top-ups (nodes, weeks)."""
    cumulants = compound_poisson_cumulants(top_up_count, pool.top_up_moments)
    n_uncertain = np.zeros(top_up_count.shape, np.int64)
    for block in pool.blocks:
        part, count = block_cumulants(block, start, end)
        cumulants = cumulants + part
        n_uncertain = n_uncertain + count
    variance = np.maximum(cumulants[1], 1e-12)
    is_skewed = (np.abs(cumulants[2]) > _MAX_SKEWNESS * variance**1.5).any(axis=0)
    is_exact = n_uncertain.max(axis=0) <= pool.n_exact_max
    otherwise = np.where(is_skewed, _Summing.RARE_POOLED, _Summing.EXPANSION)
    summing = np.where(is_exact, _Summing.EXACT, otherwise)
    found: dict[int, tuple[float, float, Floats]] = {}
    for how, rare_probability in ((_Summing.EXACT, 0.0), (_Summing.RARE_POOLED, _RARE_PROBABILITY)):
        weeks = np.flatnonzero(summing == how)
        masses = _summed_masses(pool, (start, end), top_up_count, weight, weeks, rare_probability)
        for week, mass in zip(weeks.tolist(), masses, strict=True):
            found[week] = (0.0, pool.step_quantity, mass)
    for week in np.flatnonzero(summing == _Summing.EXPANSION).tolist():
        found[week] = _expansion_mass(cumulants[:, :, week], weight, pool.step_quantity)
    return [found[week] for week in range(end.shape[2])], is_exact


def _pool_blocks(jobs: DemandJobs, n_pools: int, step_quantity: float) -> list[list[GroupBlock]]:
    """Split all jobs into pools, vehicles within a pool, and sizes of these groups."""
    cumulants = cumulants_from_raw(
        raw_moments(jobs.option_quantity, jobs.option_probability, jobs.option_offsets)
    )
    mass = quantity_mass(jobs.option_quantity, jobs.option_probability, jobs.option_offsets, step_quantity)
    blocks: list[list[GroupBlock]] = [[] for _ in range(n_pools)]
    for group in group_jobs(jobs.pool_index, jobs.vehicle_index):
        bounds = np.searchsorted(group.pool_index, np.arange(n_pools + 1))
        for pool in np.flatnonzero(np.diff(bounds)).tolist():
            members = group.members[bounds[pool] : bounds[pool + 1]]
            used = mass[members]
            length = int(np.flatnonzero(used.max(axis=(0, 1)) > 0.0)[-1]) + 1
            blocks[pool].append(
                GroupBlock(members=members, cumulants=cumulants[:, members], mass=used[:, :, :length])
            )
    return blocks


def _check_top_ups(top_ups: TopUps, n_pools: int, n_weeks: int) -> None:
    """Refuse top-ups that do not fit the pools and weeks."""
    if top_ups.expected_count.shape != (n_pools, n_weeks) or top_ups.option_offsets.size != n_pools + 1:
        raise InvalidInputError.at("/top_ups", "one row per pool and one column per week")
    check_options(top_ups.option_quantity, top_ups.option_probability, top_ups.option_offsets)


def forecast_demand(
    jobs: DemandJobs,
    *,
    n_pools: int,
    shock: UsageShock,
    top_ups: TopUps | None = None,
    step_quantity: float = 0.25,
    n_exact_max: int = N_EXACT_MAX,
) -> DemandForecast:
    """Distribution of each pool's demand in each week and up to each week.

    Parameters
    ----------
    jobs : DemandJobs
        n jobs with cumulative due probabilities of shape (nodes, n, weeks), one node per usage scenario.
    n_pools : int
        Number of shelves (a fluid at a depot, a stream of used fluid, a kind of seal).
    shock : UsageShock
        Scenarios of fleet-wide use that `jobs.due_probability` was evaluated at.
    top_ups : TopUps or None
        Consumption between services; its counts scale with the usage scenario.
    step_quantity : float
        Lattice spacing; quantities between two points are shared between them, mean kept. [L or pieces]
    n_exact_max : int
        Windows with more uncertain groups than this use the expansion.

    Returns
    -------
    DemandForecast

    Raises
    ------
    InvalidInputError
        If arrays do not fit together or hold impossible numbers.

    Notes
    -----
    Given the usage scenario, vehicles are independent and the jobs of one vehicle follow one path of use
    (comonotone); its ways of doing a job are drawn independently. The exact sum is a pairwise convolution;
    above `n_exact_max` groups a first-order Edgeworth expansion takes its place, or, where skewness is not
    mild, the exact sum of the likelier groups with the rare ones pooled into a compound Poisson sum.
    The cumulative demand uses the cumulative probabilities as they are: one job's weeks exclude each
    other, so the sum of independent weeks would be too wide. Cost: O(nodes weeks N log^2 N) a pool when
    exact, O(nodes weeks n) otherwise.

    References
    ----------
    .. [1] Biscarri, Zhao & Brunner, Computational Statistics & Data Analysis 122, 2018.
    .. [2] Panjer, ASTIN Bulletin 12, 1981.
    """
    n_nodes, n_weeks = shock.weight.size, jobs.due_probability.shape[-1]
    if not (np.isfinite(step_quantity) and step_quantity > 0.0):
        raise InvalidInputError.at("/step_quantity", "the lattice spacing is above 0")
    check_jobs(jobs, n_pools, n_nodes)
    count = np.zeros((n_nodes, n_pools, n_weeks))
    if top_ups is not None:
        _check_top_ups(top_ups, n_pools, n_weeks)
        count = shock.factor[:, None, None] * top_ups.expected_count[None]
    done = jobs.due_probability
    before = np.concatenate([np.zeros((n_nodes, done.shape[1], 1)), done[:, :, :-1]], axis=2)
    blocks = _pool_blocks(jobs, n_pools, step_quantity)
    pools = [
        _describe_pool(blocks[pool], top_ups, pool, step_quantity, n_exact_max) for pool in range(n_pools)
    ]
    kinds, exact = [], []
    for start, top_up_count in ((before, count), (np.zeros_like(done), np.cumsum(count, axis=2))):
        windows = [
            _pool_windows(pools[pool], start, done, top_up_count[:, pool], shock.weight)
            for pool in range(n_pools)
        ]
        entries = [entry for pool_entries, _ in windows for entry in pool_entries]
        first = np.array([entry[0] for entry in entries])
        step = np.array([entry[1] for entry in entries])
        kinds.append(pack_distributions(first, step, [entry[2] for entry in entries]))
        exact.append(np.array([flags for _, flags in windows]).reshape(n_pools, n_weeks))
    return DemandForecast(n_weeks=n_weeks, weekly=kinds[0], cumulative=kinds[1], is_exact=np.stack(exact))


def _describe_pool(
    blocks: list[GroupBlock], top_ups: TopUps | None, pool: int, step_quantity: float, n_exact_max: int
) -> _Pool:
    """Gather what one pool's windows share."""
    mass, moments = None, np.zeros(3)
    if top_ups is not None and bool(top_ups.expected_count[pool].any()):
        chosen = slice(int(top_ups.option_offsets[pool]), int(top_ups.option_offsets[pool + 1]))
        quantity, probability = top_ups.option_quantity[chosen], top_ups.option_probability[chosen]
        bounds = np.array([0, quantity.size], dtype=np.int64)
        mass = quantity_mass(quantity, probability, bounds, step_quantity)[0]
        moments = raw_moments(quantity, probability, bounds)[:, 0]
    return _Pool(
        blocks=blocks,
        top_up_mass=mass,
        top_up_moments=moments,
        step_quantity=step_quantity,
        n_exact_max=n_exact_max,
    )
