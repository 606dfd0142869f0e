"""What may need fluid: jobs with a date that is a distribution, and top-ups in between."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandJobs:
    """n jobs that may fall into the coming weeks.

    A pool is one shelf whose demand is added up: a fluid at a depot, a stream of used fluid, a kind of seal.
    """

    pool_index: Integers
    """Shape (n,): the pool each job draws on."""
    vehicle_index: Integers
    """Shape (n,): jobs of one vehicle fall due on the same path of use, so they move together."""
    due_probability: Floats
    """Shape (nodes, n, weeks): chance that the job is done by the end of each week, per usage scenario."""
    option_quantity: Floats
    """Shape (total,): quantity of each way the job may be done (method, rounds). [L or pieces]"""
    option_probability: Floats
    """Shape (total,): probability of each way; those of one job sum to one."""
    option_offsets: Integers
    """Shape (n + 1,): where the ways of each job begin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopUps:
    """Top-ups per pool and week: a Poisson number of small quantities."""

    expected_count: Floats
    """Shape (pools, weeks): expected number at the usual use; scales with the usage scenario."""
    option_quantity: Floats
    """Shape (total,): possible sizes of one top-up. [L]"""
    option_probability: Floats
    """Shape (total,): their probabilities; those of one pool sum to one."""
    option_offsets: Integers
    """Shape (pools + 1,): where the sizes of each pool begin; every pool needs at least one."""


def check_options(quantity: Floats, probability: Floats, offsets: Integers) -> None:
    """Refuse quantities or probabilities that no job can have.

    Raises
    ------
    InvalidInputError
        Naming the array.
    """
    if offsets[-1] != quantity.size or quantity.shape != probability.shape:
        raise InvalidInputError.at(
            "/option_offsets", "offsets end where the quantities and probabilities end"
        )
    if np.any(np.diff(offsets) < 1):
        raise InvalidInputError.at("/option_offsets", "every job has at least one way to be done")
    if not (np.all(np.isfinite(quantity)) and np.all(quantity >= 0.0)):
        raise InvalidInputError.at("/option_quantity", "a quantity is finite and at least 0")
    if probability.size and not (
        np.all(probability >= 0.0) and np.allclose(np.add.reduceat(probability, offsets[:-1]), 1.0, atol=1e-9)
    ):
        raise InvalidInputError.at("/option_probability", "the ways of one job sum to probability 1")


def check_jobs(jobs: DemandJobs, n_pools: int, n_nodes: int) -> None:
    """Refuse jobs whose arrays do not fit together or hold impossible numbers.

    Raises
    ------
    InvalidInputError
        Naming the array.
    """
    n_jobs = jobs.pool_index.size
    if jobs.due_probability.ndim != 3 or jobs.due_probability.shape[:2] != (n_nodes, n_jobs):
        raise InvalidInputError.at(
            "/due_probability", "one row per usage scenario and job, one column per week"
        )
    if jobs.vehicle_index.size != n_jobs or jobs.option_offsets.size != n_jobs + 1:
        raise InvalidInputError.at("/vehicle_index", "one entry per job in every array")
    if n_jobs and not (jobs.pool_index.min() >= 0 and jobs.pool_index.max() < n_pools):
        raise InvalidInputError.at("/pool_index", "a pool lies between 0 and the number of pools")
    due = jobs.due_probability
    if not (np.all(due >= 0.0) and np.all(due <= 1.0) and np.all(np.diff(due, axis=2) >= -1e-12)):
        raise InvalidInputError.at("/due_probability", "cumulative probabilities rise from 0 to 1")
    check_options(jobs.option_quantity, jobs.option_probability, jobs.option_offsets)
