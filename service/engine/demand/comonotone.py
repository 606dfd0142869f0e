"""Jobs that move together: which of one vehicle's jobs fall into a window, as weighted cases."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class JobGroups:
    """Jobs of one vehicle for one pool, as a padded table; members[g, k] is a job or -1."""

    pool_index: Integers
    members: Integers


def group_jobs(pool_index: Integers, vehicle_index: Integers) -> list[JobGroups]:
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


def window_cases(start_probability: Floats, end_probability: Floats) -> tuple[Floats, Booleans]:
    """Cases of which members fall into a window, when all follow one path of use.

    Parameters
    ----------
    start_probability, end_probability : ndarray, shape (..., m), float64
        Cumulative probability of each member at the start and at the end of the window.

    Returns
    -------
    probability : ndarray, shape (..., cases), float64
        Probability of each case; what is missing to one is the probability that no member falls in.
    falls_in : ndarray, bool, shape (cases, m) or (..., cases, m)
        Whether each member falls into the window in that case; the first shape when it is the same for all.

    Notes
    -----
    One uniform U places the vehicle among all paths; member j falls into the window when
    start_j < U <= end_j, so each member keeps its own probability and the members are as dependent as one
    path allows. One member has one case. Two have three: both (where their stretches of U overlap), either.
    More are split at the sorted bounds. O(m^2) a group.
    """
    n_members = start_probability.shape[-1]
    if n_members == 1:
        return end_probability - start_probability, np.ones((1, 1), np.bool_)
    if n_members == 2:
        alone = end_probability - start_probability
        overlap = end_probability.min(axis=-1) - start_probability.max(axis=-1)
        both = np.maximum(overlap, 0.0)[..., None]
        probability = np.concatenate([both, np.maximum(alone - both, 0.0)], axis=-1)
        return probability, np.array([[True, True], [True, False], [False, True]])
    edges = np.sort(np.concatenate([start_probability, end_probability], axis=-1), axis=-1)
    middle = 0.5 * (edges[..., 1:] + edges[..., :-1])[..., None]
    falls_in = (start_probability[..., None, :] < middle) & (middle < end_probability[..., None, :])
    return np.where(falls_in.any(axis=-1), np.diff(edges, axis=-1), 0.0), falls_in
