"""What it costs to do a visit in each week: fluid life given up, or the risk of being overdue."""

import numpy as np

from service.engine.arrays import Floats


def week_costs(
    due_probability: Floats,
    early_cost_per_week: Floats,
    overdue_cost_per_week: Floats,
) -> Floats:
    """Give the expected cost of each week, and of waiting until after the last.

    Parameters
    ----------
    due_probability : ndarray, shape (n, weeks), float64
        Probability F that the visit is due by the end of each week.
    early_cost_per_week, overdue_cost_per_week : ndarray, shape (n,), float64
        Cost of a week too early and of a week too late.

    Returns
    -------
    ndarray, shape (n, weeks + 1), float64
        The last column is the first week after the horizon.

    Notes
    -----
    c(w) = early E(T - w)+ + overdue E(w - T)+ = early sum_{s >= w} (1 - F_s) + overdue sum_{s < w} F_s, with
    weeks early counted up to the horizon. The cheapest week is where F first reaches
    early / (early + overdue), the critical ratio of the newsvendor. O(n weeks).
    """
    n_visits, _ = due_probability.shape
    early = np.cumsum((1.0 - due_probability)[:, ::-1], axis=1)[:, ::-1]
    late = np.cumsum(due_probability, axis=1)
    zero = np.zeros((n_visits, 1))
    weeks_early = np.concatenate([early, zero], axis=1)
    weeks_late = np.concatenate([zero, late], axis=1)
    costs: Floats = early_cost_per_week[:, None] * weeks_early + overdue_cost_per_week[:, None] * weeks_late
    return costs
