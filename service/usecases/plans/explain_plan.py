"""Say in sentences why one way of exchanging is advised, what would change that, and what it can keep."""

from typing import Final

import numpy as np

from service.domain.exchange_methods import METHOD_LABELS, ExchangeMethod
from service.domain.fluid_contamination import COOLANT_IN_AUTOMATIC
from service.domain.fluid_kinds import AUTOMATIC_KINDS
from service.domain.money import money_text
from service.domain.units_of_distance import DistanceUnit
from service.engine.policy.inputs import Method
from service.engine.policy.recommendation import NONE, Reason
from service.units import DAYS_PER_MONTH, DAYS_PER_WEEK
from service.usecases.plans.plan_exchange import METHOD_BY_CODE, PlannedExchange, wanted_fresh_share

STEP: Final = 100.0
"""Distances are told to the next hundred."""


def name_option(planned: PlannedExchange, row: int) -> str:
    """Name a row of the plan."""
    n_rounds = int(planned.plan.n_rounds[row])
    if METHOD_BY_CODE[Method(int(planned.plan.method[row]))] is ExchangeMethod.LINE_EXCHANGE:
        return METHOD_LABELS[ExchangeMethod.LINE_EXCHANGE].lower()
    return rounds_text(n_rounds)


def why(planned: PlannedExchange) -> str:
    """Say why the advised option is the advised one."""
    chosen, row = planned.recommended, int(planned.recommended.option[0])
    name, fresh = name_option(planned, row), float(planned.plan.fresh_share[row, 0])
    target = wanted_fresh_share(planned.numbers)
    reason = Reason(int(chosen.reason[0]))
    if planned.numbers.is_contaminated:
        left = f"{1.0 - fresh:.0%}"
        leaves = (
            f"least of it, {left}" if reason is Reason.CONTAMINATED else f"{left} of it, which ends the alarm"
        )
        onward = f" {COOLANT_IN_AUTOMATIC}" if planned.numbers.kind in AUTOMATIC_KINDS else ""
        return (
            f"The fluid is contaminated: find the cause first. {name.capitalize()} leaves {leaves}.{onward}"
        )
    if reason is Reason.NONE_REACHES_LASTS_LONGEST:
        return (
            f"Nothing in one visit reaches {target:.0%} fresh fluid and the wanted time; {name} lasts "
            f"longest, with {fresh:.0%} new."
        )
    if reason is Reason.ONLY_ONE_THAT_REACHES:
        return f"Only {name} reaches {target:.0%} fresh fluid in one visit: {fresh:.0%} is new."
    return (
        f"Of {int(chosen.n_reaching[0])} ways that reach {target:.0%} fresh fluid, {name} costs least for the "
        f"distance that its fluid stays good; {fresh:.0%} is new."
    )


def what_would_change(planned: PlannedExchange) -> list[str]:
    """Say at which prices or wishes another option would be advised."""
    chosen, currency = planned.recommended, planned.numbers.currency
    found = []
    runner_up = int(chosen.runner_up[0])
    if runner_up != NONE:
        other = name_option(planned, runner_up)
        numbers = planned.numbers
        for changes, price, thing in (
            (chosen.break_even_fluid_minor_per_litre, numbers["price_minor_per_litre"], "a litre of fluid"),
            (chosen.break_even_visit_minor, numbers["visit_minor"], "a visit"),
        ):
            change = float(changes[0])
            if np.isfinite(change) and change != 0.0 and change >= -price:
                way = "dearer" if change > 0.0 else "cheaper"
                amount = money_text(abs(change), currency)
                found.append(f"Were {thing} {amount} {way}, {other} would cost the same.")
    share = float(chosen.holds_up_to_fresh_share[0])
    if share < 1.0:
        found.append(f"Wanting more than {share:.1%} fresh fluid would rule it out.")
    cheapest = int(chosen.cheapest_of_all[0])
    if cheapest != int(chosen.option[0]) and not planned.numbers.is_contaminated:
        found.append(f"Without that wish, {name_option(planned, cheapest)} would cost least.")
    return found


def what_it_keeps(planned: PlannedExchange) -> str | None:
    """Say which interval the advised service can keep for ever, where it is not the whole one."""
    row = int(planned.recommended.option[0])
    keepable = float(planned.plan.keepable_km[row, 0])
    if bool(planned.plan.keeps_full_interval[row, 0]):
        return None
    interval, unit = planned.numbers.get("interval_km", np.inf), planned.numbers.distance_unit
    return (
        f"A partial exchange is not a full one: repeated for ever, {name_option(planned, row)} can keep about "
        f"{distance_text(keepable, unit)} between services, not the full interval of "
        f"{distance_text(interval, unit)}."
    )


def how_to_come_back(planned: PlannedExchange) -> str | None:
    """Tell the plan in two steps."""
    steps = planned.two_steps
    if steps is None:
        return None
    now, later = (int(rows[steps.row]) for rows in (steps.plans.first_rounds, steps.plans.second_rounds))
    weeks = round(float(steps.plans.return_days[0]) / DAYS_PER_WEEK)
    fresh = float(steps.plans.fresh_share[steps.row, 0])
    distance = distance_text(float(steps.plans.return_km[0]), planned.numbers.distance_unit)
    return (
        f"Or do {rounds_text(now)} now and {rounds_text(later)} in about {weeks} weeks, or {distance}: driving "
        f"mixes what idling does not, and {fresh:.0%} of the charge is then new."
    )


def notes(planned: PlannedExchange) -> list[str]:
    """Say where physics and practice disagree, and what the figures do not know."""
    found = []
    if planned.numbers.is_one_round_the_full_service:
        share = float(planned.plan.fresh_share[0, 0])
        found.append(
            f"The maker counts one drain and fill as the full service; by mass balance {share:.0%} is new."
        )
    months = planned.numbers.get("interval_days", np.inf) / DAYS_PER_MONTH
    if np.isfinite(months) and planned.numbers["km_per_day"] <= 0.0:
        found.append(f"It hardly moves, so the {months:.0f} months of the calendar decide.")
    return found


def rounds_text(number: int) -> str:
    """Tell a number of rounds."""
    return "1 round" if number == 1 else f"{number} rounds"


def distance_text(km: float, unit: DistanceUnit) -> str:
    """Tell a distance to the next hundred, in the organisation's unit."""
    return f"{round(unit.of_km(km) / STEP) * STEP:,.0f} {unit}"
