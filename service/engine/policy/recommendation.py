"""Choose one way of exchanging, with the reason and what would change it."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.policy.exchange_plan import KM_OF_PRICE, ExchangePlan

NONE: Final = -1
"""Row that stands for no option."""


class Reason(IntEnum):
    """Why this option."""

    CHEAPEST_THAT_REACHES = 0
    """Several reach the wishes; this one costs least by the kilometre."""
    ONLY_ONE_THAT_REACHES = 1
    NONE_REACHES_LASTS_LONGEST = 2
    """No option reaches the wishes: this one comes back latest, and another date must be accepted."""
    CONTAMINATED = 3
    """The cause comes first; the option that leaves least of the old fluid is named."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wishes:
    """What a service must reach; numbers or arrays of shape (n,).

    Parameters
    ----------
    smallest_fresh_share : float or ndarray
        [-]
    shortest_return_days : float or ndarray
        It must not be due again earlier. [d]
    is_contaminated : bool or ndarray of bool
        See `contamination`.
    """

    smallest_fresh_share: Numbers = 0.0
    shortest_return_days: Numbers = 0.0
    is_contaminated: bool | Booleans = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recommendation:
    """One option for each of n compartments; arrays of shape (n,).

    Parameters
    ----------
    option : ndarray of int64
        Row of the plan.
    reason : ndarray of int64
        A `Reason`.
    n_reaching : ndarray of int64
        Options that reach the wishes.
    runner_up : ndarray of int64
        Next best row among them, −1 if there is none.
    cheapest_of_all : ndarray of int64
        Row that costs least by the kilometre whatever the wishes; differs from `option` where the wishes
        cost something.
    break_even_fluid_minor_per_litre, break_even_visit_minor : ndarray
        Change of the price of fluid, and of a visit, at which the runner-up costs the same; NaN where no
        change of it alone does that.
    holds_up_to_fresh_share : ndarray
        A wish beyond this would rule the option out. [-]
    """

    option: Integers
    reason: Integers
    n_reaching: Integers
    runner_up: Integers
    cheapest_of_all: Integers
    break_even_fluid_minor_per_litre: Floats
    break_even_visit_minor: Floats
    holds_up_to_fresh_share: Floats


def recommend(plan: ExchangePlan, wishes: Wishes) -> Recommendation:
    """Pick the option with the lowest cost by kilometre among those that reach the wishes.

    Parameters
    ----------
    plan : ExchangePlan
    wishes : Wishes

    Returns
    -------
    Recommendation

    Raises
    ------
    InvalidInputError
        If a wish is out of range.

    Notes
    -----
    Equal costs: fewest rounds. The cost by kilometre is (C + x Δ)/D for a change Δ of a price of which an
    option needs x units, so two options cost the same at
    Δ = (C_b/D_b − C_a/D_a)/(x_a/D_a − x_b/D_b) (derived). O(n).
    """
    smallest = require_within("smallest_fresh_share", wishes.smallest_fresh_share, 0.0, 1.0)
    shortest = require_within("shortest_return_days", wishes.shortest_return_days, 0.0)
    is_reaching = (plan.fresh_share >= smallest) & (plan.due.days >= shortest) & plan.is_available
    n_reaching = is_reaching.sum(axis=0).astype(np.int64)
    price = np.where(plan.is_available, plan.cost_minor_per_1000_km, np.inf)
    ranked = np.where(is_reaching, price, np.nan)
    cheapest = _row_of_smallest(ranked)
    longest = _row_of_smallest(-np.where(plan.is_available, plan.due.days, -1.0))
    freshest = _row_of_smallest(-np.where(plan.is_available, plan.fresh_share, -1.0))
    contaminated = np.broadcast_to(np.asarray(wishes.is_contaminated, dtype=np.bool_), cheapest.shape)
    option = np.where(contaminated, freshest, np.where(n_reaching > 0, cheapest, longest))
    reason = np.select(
        [contaminated, n_reaching > 1, n_reaching == 1],
        [Reason.CONTAMINATED, Reason.CHEAPEST_THAT_REACHES, Reason.ONLY_ONE_THAT_REACHES],
        Reason.NONE_REACHES_LASTS_LONGEST,
    )
    has_runner_up = (n_reaching > 1) & ~contaminated
    rest = np.where(np.arange(len(plan.n_rounds))[:, np.newaxis] == option, np.nan, ranked)
    runner_up = np.where(has_runner_up, _row_of_smallest(rest), NONE)
    second = np.maximum(runner_up, 0)
    return Recommendation(
        option=option,
        reason=reason.astype(np.int64),
        n_reaching=n_reaching,
        runner_up=runner_up,
        cheapest_of_all=_row_of_smallest(price),
        break_even_fluid_minor_per_litre=_break_even(plan, plan.poured_litres, option, second, has_runner_up),
        break_even_visit_minor=_break_even(
            plan, np.ones(plan.cost_minor.shape), option, second, has_runner_up
        ),
        holds_up_to_fresh_share=_of(plan.fresh_share, option),
    )


def _of(table: Floats, row: Integers) -> Floats:
    return np.asarray(np.take_along_axis(table, row[np.newaxis, :], axis=0)[0])


def _row_of_smallest(table: Floats) -> Integers:
    """Row of the smallest number in each column, the first of equals, 0 where there is none."""
    filled = np.where(np.isnan(table), np.inf, table)
    is_candidate = ~np.isnan(table) & (filled == filled.min(axis=0))
    return np.asarray(is_candidate.argmax(axis=0), dtype=np.int64)


def _break_even(
    plan: ExchangePlan, units: Floats, option: Integers, second: Integers, is_wanted: Booleans
) -> Floats:
    price = plan.cost_minor_per_1000_km
    distance = np.where(plan.due.km > 0.0, plan.due.km, np.inf)
    by_1000_km = units * KM_OF_PRICE / distance
    gap = _of(price, second) - np.where(np.isfinite(_of(price, option)), _of(price, option), 0.0)
    slope = _of(by_1000_km, option) - _of(by_1000_km, second)
    is_found = is_wanted & np.isfinite(gap) & np.isfinite(_of(price, option)) & (slope != 0.0)
    change: Floats = np.full(gap.shape, np.nan)
    np.divide(gap, slope, out=change, where=is_found)
    return change
