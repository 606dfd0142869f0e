"""Interval and rounds with the lowest cost for a class of vehicles, and what a policy would do over 24 months."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain import plausibility
from service.domain.roles import Scope
from service.engine.arrays import Floats, Numbers
from service.engine.policy.drain_fill import (
    RoundsPolicy,
    ServiceCosts,
    WearAndHazard,
    failure_cost_rate,
    plan_rounds_policy,
)
from service.engine.policy.what_if import MONTHS_24_DAYS, MOST_VISITS, TrialPolicy, try_policy
from service.errors import InvalidInputError
from service.units import MINUTES_PER_HOUR
from service.usecases.access.caller import Caller
from service.usecases.plans.policy_numbers import PolicyClass, PolicyNumbers, policy_numbers

N_QUANTILES: Final = 2001
N_TRIAL_QUANTILES: Final = 51
N_PHASES: Final = 41
SLOWEST_AGEING_PER_KM: Final = 1e-9
"""A life of a thousand million kilometres is none that a policy could be planned for."""

CHANGES: Final = {
    "the fluid cost twice as much": (2.0, 1.0, 1.0, 1.0),
    "a visit cost twice as much": (1.0, 2.0, 1.0, 1.0),
    "a failure cost twice as much": (1.0, 1.0, 2.0, 1.0),
    "the fluid aged a quarter faster": (1.0, 1.0, 1.0, 1.25),
}
"""What the advice is tried against: factors on litres' price, visit, failure and ageing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPolicy:
    """A policy that somebody typed in."""

    n_rounds: int
    interval_km: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What one policy would do over 24 months, a vehicle, on average."""

    n_rounds: int
    interval_km: float
    n_visits: float
    litres: float
    cost_minor: float
    failure_minor: float
    """What failures are expected to cost in that time."""

    share_of_time_above_limit: float
    mean_life_used: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPolicy:
    """A policy with the numbers it rests on; column 0 of `plan` is it, the others are `CHANGES` in their order."""

    numbers: PolicyNumbers
    plan: RoundsPolicy
    visit_minor: Floats
    """Of one to six rounds."""

    proposed: Trial
    own: Trial | None

    @property
    def row(self) -> int:
        """Row of the advised number of rounds."""
        return int(self.plan.best_rounds[0]) - 1


def plan_policy(
    session: Session, caller: Caller, of: PolicyClass, given: Mapping[str, float], own: OwnPolicy | None
) -> PlannedPolicy:
    """Plan for a class of vehicles; nothing is stored.

    Raises
    ------
    InvalidInputError
        If the numbers contradict each other, or nothing sensible follows from them.
    """
    caller.require(Scope.READ)
    numbers = policy_numbers(session, caller, of, given)
    costs = _costs(numbers)
    _check(numbers, costs, own)
    wear = _wear(numbers)
    factors = np.array([(1.0, 1.0, 1.0, 1.0), *CHANGES.values()])
    plan = plan_rounds_policy(
        replace(wear, life_used_per_km=wear.life_used_per_km * factors[:, 3]),
        ServiceCosts(
            visit_minor=costs.visit_minor * factors[:, 1],
            round_minor=costs.round_minor,
            round_litres=costs.round_litres,
            fluid_minor_per_litre=costs.fluid_minor_per_litre * factors[:, 0],
            failure_minor=costs.failure_minor * factors[:, 2],
        ),
        compliance_probability=numbers["compliance_probability"],
        allowed_km=numbers.given.get("longest_interval_km", np.inf),
    )
    rounds = np.arange(1.0, plan.interval_km.shape[0] + 1.0)
    visit_minor = np.asarray(_visit_minor(costs, rounds))
    best = int(plan.best_rounds[0])
    proposed = OwnPolicy(n_rounds=best, interval_km=float(plan.interval_km[best - 1, 0]))
    if _is_too_often(numbers, proposed):
        raise InvalidInputError("The interval that follows from these numbers is too short to be worked.")
    return PlannedPolicy(
        numbers=numbers,
        plan=plan,
        visit_minor=visit_minor,
        proposed=_try(numbers, proposed, visit_minor, wear, costs),
        own=None if own is None else _try(numbers, own, visit_minor, wear, costs),
    )


def _check(numbers: PolicyNumbers, costs: ServiceCosts, own: OwnPolicy | None) -> None:
    if numbers["drainable_litres"] > numbers["total_litres"]:
        raise InvalidInputError.at("/drainable_litres", "Cannot be more than the compartment holds.")
    if _life_used_per_km(numbers) < SLOWEST_AGEING_PER_KM:
        raise InvalidInputError.at("/life_used_per_km", "Something has to age the fluid, distance or time.")
    if own is not None and _is_too_often(numbers, own):
        raise InvalidInputError.at(
            "/own_policy/interval_km", f"That would be more than {MOST_VISITS} visits in 24 months."
        )
    if _visit_minor(costs, 1) <= 0.0:
        raise InvalidInputError.at("/visit_minor", "If a visit costs nothing, no interval is too short.")


def _is_too_often(numbers: PolicyNumbers, policy: OwnPolicy) -> bool:
    days = policy.interval_km / numbers["km_per_day"]
    is_too_short = policy.interval_km < plausibility.INTERVAL_KM.minimum
    return is_too_short or days * (MOST_VISITS - 1) <= MONTHS_24_DAYS


def _life_used_per_km(numbers: PolicyNumbers) -> float:
    """By distance, and by the time that a kilometre takes at the class's pace."""
    return numbers["life_used_per_km"] + numbers["life_used_per_day"] / numbers["km_per_day"]


def _speeds(numbers: PolicyNumbers, n_quantiles: int) -> Floats:
    """Life used by kilometre at evenly spaced probabilities: lognormal between vehicles, around the class's mean."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((place + 0.5) / n_quantiles) for place in range(n_quantiles)])
    sd = np.sqrt(np.log1p(numbers["life_coefficient_of_variation"] ** 2))
    speeds: Floats = _life_used_per_km(numbers) * np.exp(sd * scores - 0.5 * sd**2)
    return speeds


def _wear(numbers: PolicyNumbers) -> WearAndHazard:
    """The hazard is known at the condemning limit; the engine wants it at the limit of the policy."""
    limit, shape = numbers["highest_life_used"], numbers["hazard_shape"]
    return WearAndHazard(
        exchanged_share=numbers["drainable_litres"] / numbers["total_litres"],
        life_used_per_km=_speeds(numbers, N_QUANTILES)[:, np.newaxis],
        life_used_limit=limit,
        hazard_shape=shape,
        hazard_scale_km=numbers["hazard_scale_km"] / limit**shape,
    )


def _costs(numbers: PolicyNumbers) -> ServiceCosts:
    labour = numbers["labour_minor_per_hour"] / MINUTES_PER_HOUR
    return ServiceCosts(
        visit_minor=numbers["visit_minor"] + numbers["visit_minutes"] * labour,
        round_minor=numbers["round_minutes"] * labour,
        round_litres=numbers["drainable_litres"],
        fluid_minor_per_litre=numbers["price_minor_per_litre"] + numbers["disposal_minor_per_litre"],
        failure_minor=numbers["failure_minor"],
    )


def _visit_minor(costs: ServiceCosts, rounds: Numbers) -> Numbers:
    """What a visit of some rounds costs."""
    return costs.visit_minor + rounds * (costs.round_minor + costs.round_litres * costs.fluid_minor_per_litre)


def _try(
    numbers: PolicyNumbers,
    policy: OwnPolicy,
    visit_minor: Floats,
    wear: WearAndHazard,
    costs: ServiceCosts,
) -> Trial:
    """Average over vehicles that age differently and stand anywhere between two visits, the policy long in force."""
    row, km_per_day = policy.n_rounds - 1, numbers["km_per_day"]
    kept = (1.0 - numbers["drainable_litres"] / numbers["total_litres"]) ** policy.n_rounds
    phases = (np.arange(N_PHASES) + 0.5) / N_PHASES
    speeds, phase = (axis.ravel() for axis in np.meshgrid(_speeds(numbers, N_TRIAL_QUANTILES), phases))
    interval_days = policy.interval_km / km_per_day
    trial = try_policy(
        speeds * policy.interval_km * (kept / (1.0 - kept) + phase),
        speeds * km_per_day,
        TrialPolicy(
            interval_days=interval_days,
            first_visit_days=(1.0 - phase) * interval_days,
            exchanged_share=1.0 - kept,
            visit_litres=policy.n_rounds * numbers["drainable_litres"],
            visit_minor=float(visit_minor[row]),
        ),
        life_used_limit=numbers["highest_life_used"],
    )
    failures = float(failure_cost_rate(wear, costs, policy.interval_km)[row, 0])
    return Trial(
        n_rounds=policy.n_rounds,
        interval_km=policy.interval_km,
        n_visits=float(trial.n_visits.mean()),
        litres=float(trial.litres.mean()),
        cost_minor=float(trial.cost_minor.mean()),
        failure_minor=failures * km_per_day * MONTHS_24_DAYS,
        share_of_time_above_limit=float(trial.share_of_time_above_limit.mean()),
        mean_life_used=float(trial.mean_life_used.mean()),
    )
