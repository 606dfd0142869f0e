"""Visits that are alike, counted together so that levelling stays small."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitClasses:
    """Classes of visits with the same hours and the same cost in every week."""

    class_of_visit: Integers
    """Shape (n,)."""
    n_visits: Integers
    """Shape (classes,)."""
    hours: Floats
    """Shape (classes,): bay hours of one visit. [h]"""
    cost: Floats
    """Shape (classes, weeks + 1): of one visit; infinite in weeks that are not allowed."""


def classify_visits(hours: Floats, cost: Floats) -> VisitClasses:
    """Put identical visits into classes.

    Parameters
    ----------
    hours : ndarray, shape (n,), float64
        Bay hours. [h]
    cost : ndarray, shape (n, weeks + 1), float64
        Cost of each week, infinite where not allowed.

    Returns
    -------
    VisitClasses
        Ordered by hours and cost, whatever order the visits come in.

    Notes
    -----
    Nothing is rounded, so nothing is lost. O(n log n).
    """
    key = np.column_stack([hours, np.where(np.isfinite(cost), cost, -1.0)])
    unique, owner, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    return VisitClasses(
        class_of_visit=owner.reshape(-1).astype(np.int64),
        n_visits=count,
        hours=unique[:, 0],
        cost=np.where(unique[:, 1:] < 0.0, np.inf, unique[:, 1:]),
    )
