"""Say in sentences why a policy is advised, what would change it, and how it compares with another one."""

from typing import Final

import numpy as np

from service.domain.cautions import DEFERENCE
from service.domain.fluid_schedules import schedule_for
from service.domain.money import money_text
from service.domain.units_of_distance import DistanceUnit
from service.units import DAYS_PER_MONTH, km_from_miles
from service.usecases.plans.explain_plan import distance_text, rounds_text
from service.usecases.plans.plan_policy import CHANGES, PlannedPolicy, Trial
from service.usecases.plans.policy_numbers import PolicyNumbers

CLOSE_COST: Final = 0.02
"""A row that costs at most this share more is as good, as far as such numbers can tell."""


def why(planned: PlannedPolicy) -> str:
    """Say why the advised policy is the advised one, and what holds its interval."""
    plan, row, numbers = planned.plan, planned.row, planned.numbers
    unit = numbers.distance_unit
    cost = plan.cost_minor_per_km[row, 0] * (km_from_miles(1000.0) if unit is DistanceUnit.MI else 1000.0)
    head = (
        f"{rounds_text(row + 1).capitalize()} every {_distance(plan.interval_km[row, 0], numbers)} is the "
        f"cheapest of one to six rounds: {money_text(cost, numbers.currency)} for 1,000 {unit}, failures included."
    )
    if plan.interval_km[row, 0] < min(plan.longest_km[row, 0], plan.unconstrained_km[row, 0]):
        return f"{head} The longest interval that you allow sets it."
    if plan.is_held_by_limit[row, 0]:
        return (
            f"{head} The limit sets the interval: beyond it, fewer than {numbers['compliance_probability']:.0%} "
            f"of vehicles would stay under {numbers['highest_life_used']:.0%} life used."
        )
    return (
        f"{head} Cost sets the interval: longer, failures would cost more than visits save; the limit "
        f"would allow {_distance(plan.longest_km[row, 0], planned.numbers)}."
    )


def what_would_change(planned: PlannedPolicy) -> list[str]:
    """Say what would be advised if prices or ageing were other ones."""
    plan = planned.plan
    found = []
    for column, change in enumerate(CHANGES, start=1):
        best = int(plan.best_rounds[column])
        stays = "still " if best == planned.row + 1 else ""
        interval = _distance(plan.interval_km[best - 1, column], planned.numbers)
        found.append(f"If {change}, {stays}{rounds_text(best)} would cost least, every {interval}.")
    return found


def flatness(planned: PlannedPolicy) -> str | None:
    """Say how far the interval may move, and which other numbers of rounds are as good."""
    plan, row = planned.plan, planned.row
    shortest, longest = plan.flat_km.shortest[row, 0], plan.flat_km.longest[row, 0]
    if not np.isfinite(shortest):
        return None
    costs = plan.cost_minor_per_km[:, 0]
    others = [
        rounds_text(place + 1)
        for place in range(len(costs))
        if place != row and costs[place] <= costs[row] * (1.0 + CLOSE_COST)
    ]
    also = f" {', '.join(others).capitalize()} would cost hardly more." if others else ""
    least, most = (_distance(km, planned.numbers) for km in (shortest, longest))
    return (
        f"By cost alone anything from {least} to {most} is within 2% of the best for "
        f"{rounds_text(row + 1)}.{also}"
    )


def compare(planned: PlannedPolicy) -> str | None:
    """Compare the proposed policy with the typed-in one."""
    own, proposed = planned.own, planned.proposed
    if own is None:
        return None
    change = _whole_cost(proposed) - _whole_cost(own)
    way = "less" if change < 0.0 else "more"
    return (
        f"Over 24 months the proposal costs {money_text(abs(change), planned.numbers.currency)} {way} a vehicle than "
        f"{rounds_text(own.n_rounds)} every {_distance(own.interval_km, planned.numbers)}, failures included; "
        f"above the limit {proposed.share_of_time_above_limit:.1%} of the time in place of "
        f"{own.share_of_time_above_limit:.1%}."
    )


def notes(planned: PlannedPolicy) -> list[str]:
    """Say where the proposal goes beyond the usual schedule, and what it does not know."""
    of, interval = planned.numbers.of, planned.proposed.interval_km
    schedule = schedule_for(of.kind, of.vehicle_class)
    found = []
    if schedule.km is not None and interval > schedule.km.value:
        usual = _distance(schedule.km.value, planned.numbers)
        found.append(f"Longer than the usual {usual} for this kind: only if the maker allows it.")
    months = interval / planned.numbers["km_per_day"] / DAYS_PER_MONTH
    if schedule.months is not None and months > schedule.months.value:
        found.append(
            f"At this pace it takes {months:.0f} months; usual are {schedule.months.value:.0f} at most."
        )
    return [*found, DEFERENCE]


def _whole_cost(trial: Trial) -> float:
    return trial.cost_minor + trial.failure_minor


def _distance(km: float, numbers: PolicyNumbers) -> str:
    return distance_text(km, numbers.distance_unit)
