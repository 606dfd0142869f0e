"""Some rounds now and more after a distance, because driving mixes what idling does not."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Booleans, Floats, Integers, Numbers
from service.engine.exchange.checks import require_within
from service.engine.exchange.credit import amount_since_full_service
from service.engine.policy.exchange_plan import ExchangePlan, cost_per_1000_km
from service.engine.policy.inputs import DueRates, ExchangeCase
from service.engine.policy.recommendation import NONE
from service.engine.policy.return_date import ReturnDate, due_again, life_used_per_day
from service.engine.policy.shares import rounds_retained
from service.errors import InvalidInputError

MOST_ROUNDS_IN_A_STEP: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TwoStepPlans:
    """Sixteen plans for n compartments: 1 to 4 rounds now, 1 to 4 at the return.

    Parameters
    ----------
    first_rounds, second_rounds : ndarray of int64, shape (16,)
    return_km, return_days : ndarray, shape (n,)
        When the second step comes. [km], [d]
    life_used_before_second, life_used_after : ndarray, shape (16, n)
        At the return, before its rounds, and after them. [-]
    stays_below_limit : ndarray of bool, shape (16, n)
        False where the second step comes too late.
    fresh_share : ndarray, shape (16, n)
        Of the charge after both steps. [-]
    cost_minor : ndarray, shape (16, n)
        Of both visits.
    due : ReturnDate
        After the second step, arrays of shape (16, n).
    cost_minor_per_1000_km : ndarray, shape (16, n)
        By the distance from now until it is due after the second step.
    """

    first_rounds: Integers
    second_rounds: Integers
    return_km: Floats
    return_days: Floats
    life_used_before_second: Floats
    life_used_after: Floats
    stays_below_limit: Booleans
    fresh_share: Floats
    cost_minor: Floats
    due: ReturnDate
    cost_minor_per_1000_km: Floats


def plan_two_steps(
    case: ExchangeCase, rates: DueRates, plan: ExchangePlan, return_km: Numbers
) -> TwoStepPlans:
    """Work out what rounds now and more rounds after a distance would leave, cost and last.

    Parameters
    ----------
    case : ExchangeCase
    rates : DueRates
        Every compartment must move, else there is no distance to wait for.
    plan : ExchangePlan
        Of the same case, for the cost of each visit.
    return_km : float or ndarray, shape (n,)
        Distance until the second step, positive. [km]

    Returns
    -------
    TwoStepPlans

    Raises
    ------
    InvalidInputError
        If a distance is not positive, a compartment does not move, or a value is out of range.

    Notes
    -----
    Between the steps the whole charge mixes and ages at the given rates. Both visits cost what the plan
    says for their rounds. What is added is new in both. O(n).
    """
    distance = require_within("return_km", return_km, 1e-6)
    speed = require_within("km_per_day", rates.km_per_day, 0.0)
    if np.any(speed <= 0.0):
        raise InvalidInputError.at("/km_per_day", "a second step after a distance needs a vehicle that moves")
    n = len(case.state)
    distance, days = (np.broadcast_to(x, (n,)) for x in (distance, distance / speed))
    steps = MOST_ROUNDS_IN_A_STEP
    retained = rounds_retained(case, steps)
    first, second = np.divmod(np.arange(steps * steps), steps)
    before = retained[first] * case.state.life_used + days * life_used_per_day(rates)
    after = retained[second] * before
    clocks = [
        amount_since_full_service(
            amount_since_full_service(since, 1.0 - retained[first]) + passed, 1.0 - retained[second]
        )
        for since, passed in (
            (rates.km_since_full_service, distance),
            (rates.days_since_full_service, days),
        )
    ]
    due = due_again(after, rates, km_on_clock=clocks[0], days_on_clock=clocks[1])
    cost = plan.cost_minor[first] + plan.cost_minor[second]
    return TwoStepPlans(
        first_rounds=(first + 1).astype(np.int64),
        second_rounds=(second + 1).astype(np.int64),
        return_km=distance,
        return_days=days,
        life_used_before_second=before,
        life_used_after=after,
        stays_below_limit=before <= rates.highest_life_used,
        fresh_share=1.0 - retained[first] * retained[second],
        cost_minor=cost,
        due=due,
        cost_minor_per_1000_km=cost_per_1000_km(cost, distance + due.km),
    )


def choose_two_steps(steps: TwoStepPlans, smallest_fresh_share: Numbers) -> Integers:
    """Pick the plan with the lowest cost by kilometre that comes back in time and renews enough.

    Parameters
    ----------
    steps : TwoStepPlans
    smallest_fresh_share : float or ndarray, shape (n,)
        Of the charge after both steps. [-]

    Returns
    -------
    ndarray of int64, shape (n,)
        Row of the plans, the first of equals; −1 where none does.

    Raises
    ------
    InvalidInputError
        If a share is not between 0 and 1.
    """
    smallest = require_within("smallest_fresh_share", smallest_fresh_share, 0.0, 1.0)
    is_fit = steps.stays_below_limit & (steps.fresh_share >= smallest)
    price = np.where(is_fit, steps.cost_minor_per_1000_km, np.inf)
    is_best = is_fit & (price == price.min(axis=0))
    return np.where(is_fit.any(axis=0), is_best.argmax(axis=0), NONE).astype(np.int64)
