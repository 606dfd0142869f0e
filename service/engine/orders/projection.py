"""What the shelf will hold week by week, and how likely it runs out."""

from dataclasses import dataclass

import numpy as np

from service.engine.arrays import Floats
from service.engine.demand.lattice import LatticeDistributions, probability_above


@dataclass(frozen=True, slots=True, kw_only=True)
class StockProjection:
    """Stock at the end of each week (negative: litres or pieces that work waits for), and the risk of it."""

    stock_q10: Floats
    stock_q50: Floats
    stock_q90: Floats
    run_out_probability: Floats
    """Shape (weeks,): probability that demand up to the week's end exceeds supply up to its start."""


def supply_by_lead_time(committed_quantity: Floats, ordered_quantity: Floats, n_lead_times: int) -> Floats:
    """Cumulative supply at each week's start for each possible lead time.

    Parameters
    ----------
    committed_quantity : ndarray, shape (weeks,), float64
        Supply without this plan.
    ordered_quantity : ndarray, shape (weeks,), float64
        Quantity ordered in each week.
    n_lead_times : int
        Lead times 0 to n - 1 weeks.

    Returns
    -------
    ndarray, shape (n_lead_times, weeks), float64
    """
    n_weeks = committed_quantity.size
    ordered = np.concatenate([np.zeros(n_lead_times), np.cumsum(ordered_quantity)])
    index = np.arange(n_weeks)[None, :] - np.arange(n_lead_times)[:, None] + n_lead_times
    supply: Floats = committed_quantity + ordered[np.maximum(index, 0)]
    return supply


def project_stock(
    cumulative: LatticeDistributions,
    supply: Floats,
    lead_time_probability: Floats,
) -> StockProjection:
    """Stock band and run-out risk over the horizon.

    Parameters
    ----------
    cumulative : LatticeDistributions
        Demand up to the end of each week, one distribution a week.
    supply : ndarray, shape (leads, weeks), float64
        Cumulative supply for each lead time.
    lead_time_probability : ndarray, shape (leads,), float64
        Weight of each lead time; all orders of a plan share it (a slow supplier is slow with every order).

    Returns
    -------
    StockProjection

    Notes
    -----
    Unmet demand waits. O(total mass points * leads, sorted).
    """
    above = probability_above(cumulative, supply.T)
    n_weeks = supply.shape[1]
    bands = np.empty((3, n_weeks))
    for week in range(n_weeks):
        mass = cumulative.probability[cumulative.offsets[week] : cumulative.offsets[week + 1]]
        demand = cumulative.first_quantity[week] + cumulative.step_quantity[week] * np.arange(mass.size)
        stock = (supply[:, week, None] - demand).ravel()
        weight = (lead_time_probability[:, None] * mass).ravel()
        order = np.argsort(stock, kind="stable")
        place = np.searchsorted(np.cumsum(weight[order]), np.array([0.1, 0.5, 0.9]) - 1e-9)
        bands[:, week] = stock[order][np.minimum(place, order.size - 1)]
    return StockProjection(
        stock_q10=bands[0],
        stock_q50=bands[1],
        stock_q90=bands[2],
        run_out_probability=np.clip(above @ lead_time_probability, 0.0, 1.0),
    )
