"""Jobs that move together: which of one vehicle's jobs fall into a window, as weighted cases."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class JobGroups:
    """Jobs of one vehicle for one pool, as a padded table; members[g, k] is a job or -1."""

    pool_index: NDArray[np.int64]
    members: NDArray[np.int64]


def group_jobs(pool_index: NDArray[np.int64], vehicle_index: NDArray[np.int64]) -> list[JobGroups]:
    """Group jobs by pool and vehicle; groups of one size come together.

    Parameters
    ----------
    pool_index, vehicle_index : ndarray, shape (n,), int64
        Pool and vehicle of each job.

    Returns
    -------
    list of JobGroups
        One entry per group size, sizes ascending; within it ordered by pool, then vehicle.

    Notes
    -----
    O(n log n).
    """
    if pool_index.size == 0:
        return []
    order = np.lexsort((vehicle_index, pool_index))
    pool, vehicle = pool_index[order], vehicle_index[order]
    is_first = np.concatenate([[True], (np.diff(pool) != 0) | (np.diff(vehicle) != 0)])
    start = np.flatnonzero(is_first)
    size = np.diff(np.concatenate([start, [pool.size]]))
    groups = []
    for n_members in np.unique(size).tolist():
        chosen = start[size == n_members]
        members = order[chosen[:, None] + np.arange(n_members)]
        groups.append(JobGroups(pool_index=pool[chosen], members=members.astype(np.int64)))
    return groups


def window_cases(
    start_probability: NDArray[np.float64], end_probability: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Cases of which members fall into a window, when all follow one path of use.

    Parameters
    ----------
    start_probability, end_probability : ndarray, shape (..., m), float64
        Cumulative probability of each member at the start and at the end of the window.

    Returns
    -------
    probability : ndarray, shape (..., 2 m + 1), float64
        Probability of each case; sums to one.
    falls_in : ndarray, shape (..., 2 m + 1, m), bool
        Whether each member falls into the window in that case.

    Notes
    -----
    One uniform U places the vehicle among all paths; member j falls into the window when
    start_j < U <= end_j. The cases are the stretches between the sorted bounds, so each member keeps its
    own probability and the members are as dependent as one path allows. Single members reduce to a
    Bernoulli trial. O(m^2) a group.
    """
    bounds = np.sort(np.concatenate([start_probability, end_probability], axis=-1), axis=-1)
    zeros = np.zeros((*bounds.shape[:-1], 1))
    edges = np.concatenate([zeros, bounds, zeros + 1.0], axis=-1)
    middle = 0.5 * (edges[..., 1:] + edges[..., :-1])[..., None]
    falls_in = (start_probability[..., None, :] < middle) & (middle < end_probability[..., None, :])
    return np.diff(edges, axis=-1), falls_in
