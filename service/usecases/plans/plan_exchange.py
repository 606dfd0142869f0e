"""Ways to exchange a fluid side by side: what each leaves, costs and lasts, and which one is advised."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.cautions import DEFERENCE, cautions_for
from service.domain.duties import Duty
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.roles import Scope
from service.domain.service_work import FIRST_ROUND_EXTRA_MINUTES, LABOUR_MINUTES, VISIT_SETUP_MINUTES
from service.domain.vehicle_classes import VehicleClass
from service.engine.exchange.credit import rounds_needed
from service.engine.exchange.state import fluid_state
from service.engine.level.expansion import volume_correction_factor
from service.engine.policy.exchange_plan import ExchangePlan, plan_exchanges
from service.engine.policy.inputs import DueRates, ExchangeCase, LevelTask, Method, Prices
from service.engine.policy.recommendation import Recommendation, Wishes, recommend
from service.engine.policy.two_step import TwoStepPlans, choose_two_steps, plan_two_steps
from service.errors import InvalidInputError
from service.units import MILLILITRES_PER_LITRE, MINUTES_PER_HOUR
from service.usecases.access.caller import Caller
from service.usecases.fluids.recommend_exchange import FULL_EQUIVALENT_SHARE
from service.usecases.plans.plan_numbers import ASSUMED, PlanNumbers, stored_numbers, typed_numbers

METHOD_BY_CODE: Final = {
    Method.ROUNDS: ExchangeMethod.DRAIN_AND_FILL,
    Method.LINE_EXCHANGE: ExchangeMethod.LINE_EXCHANGE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoSteps:
    """Some rounds now and more after a distance; row `row` of the engine's table."""

    plans: TwoStepPlans
    row: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedExchange:
    """A plan with the numbers it rests on."""

    numbers: PlanNumbers
    plan: ExchangePlan
    recommended: Recommendation
    fewest_rounds: int
    """Rounds that reach the wanted fresh share."""

    excess_by_round_millilitres: float
    """Runs off at the level check for every round in which as many litres are poured cold as came out warm."""

    two_steps: TwoSteps | None
    cautions: list[str]


def plan_exchange(
    session: Session,
    caller: Caller,
    now: datetime,
    *,
    compartment: str | None,
    kind: FluidKind | None,
    vehicle_class: VehicleClass | None,
    duty: Duty | None,
    typed: Mapping[str, float],
) -> PlannedExchange:
    """Plan the exchange of a stored compartment, or of typed-in numbers.

    Raises
    ------
    InvalidInputError
        If the numbers contradict each other, or a kind is given beside a compartment that has one.
    """
    caller.require(Scope.READ)
    if compartment is None:
        numbers = typed_numbers(
            session,
            caller,
            kind or FluidKind.AUTOMATIC_TRANSMISSION_CAR,
            vehicle_class or VehicleClass.CAR,
            duty or Duty.NORMAL,
            typed,
        )
    elif kind is not None or vehicle_class is not None or duty is not None:
        raise InvalidInputError.at("/compartment", "Has its own kind, class and duty; leave those out.")
    else:
        numbers = stored_numbers(session, caller, now, compartment, typed)
    return plan_from_numbers(numbers)


def plan_from_numbers(numbers: PlanNumbers) -> PlannedExchange:
    """Let the engine plan for one compartment."""
    _check(numbers)
    at_level = float(volume_correction_factor(numbers["level_celsius"], numbers["density_15c_kg_per_m3"]))
    at_ambient = float(volume_correction_factor(numbers["ambient_celsius"], numbers["density_15c_kg_per_m3"]))
    case, rates = _case(numbers, at_level), _rates(numbers)
    plan = plan_exchanges(case, rates, _prices(numbers), _level(numbers))
    target = wanted_fresh_share(numbers)
    chosen = recommend(plan, _wishes(numbers, plan, target))
    share = numbers["drainable_litres"] / numbers["total_litres"]
    fewest = rounds_needed(share, max(1.0 - target, 1e-9))
    method = METHOD_BY_CODE[Method(int(plan.method[chosen.option[0]]))]
    return PlannedExchange(
        numbers=numbers,
        plan=plan,
        recommended=chosen,
        fewest_rounds=int(fewest),
        excess_by_round_millilitres=numbers["drainable_litres"]
        * (at_ambient / at_level - 1.0)
        * MILLILITRES_PER_LITRE,
        two_steps=_two_steps(numbers, case, rates, plan),
        cautions=[*(caution.text for caution in cautions_for(numbers.kind, method)), DEFERENCE],
    )


def wanted_fresh_share(numbers: PlanNumbers) -> float:
    """Fresh share that is wanted, the more demanding of the two wishes; new fluid has no life used."""
    wanted = numbers.get("target_life_used", 2.0)
    old = numbers["old_life_used"]
    by_life = 0.0 if wanted >= old else 1.0 - wanted / old
    if numbers.values["target_life_used"] is not None and numbers.basis["target_fresh_share"] == ASSUMED:
        return by_life
    return max(by_life, numbers["target_fresh_share"])


def _check(numbers: PlanNumbers) -> None:
    total, drainable = numbers["total_litres"], numbers["drainable_litres"]
    if drainable > total:
        raise InvalidInputError.at("/drainable_litres", "Cannot be more than the compartment holds.")
    if drainable > total - numbers["converter_litres"]:
        raise InvalidInputError.at(
            "/converter_litres", "What the converter keeps back cannot be drained; check both figures."
        )


def _case(numbers: PlanNumbers, at_level: float) -> ExchangeCase:
    """Litres are told as they are at the level temperature; the engine wants them at 15 °C."""
    total, drainable = numbers["total_litres"], numbers["drainable_litres"]
    spread = total * numbers["drainable_share_sd"] * total / drainable
    return ExchangeCase(
        state=fluid_state(
            np.array([total * at_level]),
            life_used=numbers["old_life_used"],
            life_used_variance=numbers["old_life_used_sd"] ** 2,
        ),
        drained_15c_litres=drainable * at_level,
        volume_sd_litres=spread * at_level,
        converter_15c_litres=numbers["converter_litres"] * at_level,
        mixing_efficiency=numbers["mixing_efficiency"],
        overfill_15c_litres=numbers["overfill_litres"] * at_level,
        line_15c_litres=numbers.get("line_litres", float("nan")) * at_level,
    )


def _rates(numbers: PlanNumbers) -> DueRates:
    return DueRates(
        km_per_day=numbers["km_per_day"],
        life_used_per_km=numbers["life_used_per_km"],
        life_used_per_day=numbers["life_used_per_day"],
        highest_life_used=numbers["highest_life_used"],
        interval_km=numbers.get("interval_km", np.inf),
        interval_days=numbers.get("interval_days", np.inf),
        km_since_full_service=numbers["km_since_full_service"],
        days_since_full_service=numbers["days_since_full_service"],
        is_one_round_the_full_service=numbers.is_one_round_the_full_service,
    )


def _prices(numbers: PlanNumbers) -> Prices:
    rounds, line = LABOUR_MINUTES[ExchangeMethod.DRAIN_AND_FILL], LABOUR_MINUTES[ExchangeMethod.LINE_EXCHANGE]
    return Prices(
        visit_minor=numbers["visit_minor"],
        labour_minor_per_minute=numbers["labour_minor_per_hour"] / MINUTES_PER_HOUR,
        visit_minutes=VISIT_SETUP_MINUTES.value + FIRST_ROUND_EXTRA_MINUTES,
        round_minutes=rounds.further_round.value,
        line_minutes=line.first_round.value - FIRST_ROUND_EXTRA_MINUTES,
        line_equipment_minor=numbers["line_equipment_minor"],
        fluid_minor_per_litre=numbers["price_minor_per_litre"],
        disposal_minor_per_litre=numbers["disposal_minor_per_litre"],
    )


def _level(numbers: PlanNumbers) -> LevelTask:
    return LevelTask(
        level_litres=numbers["total_litres"],
        pour_celsius=numbers["ambient_celsius"],
        check_celsius=numbers["level_celsius"],
        density_15c_kg_per_m3=numbers["density_15c_kg_per_m3"],
    )


def _wishes(numbers: PlanNumbers, plan: ExchangePlan, target: float) -> Wishes:
    """What is asked of an exchange; of a contaminated fluid what ends the alarm, or if nothing does, the most fresh."""
    if not numbers.is_contaminated:
        return Wishes(smallest_fresh_share=target, shortest_return_days=numbers["shortest_return_days"])
    ends_alarm = max(target, FULL_EQUIVALENT_SHARE)
    if (plan.is_available & (plan.fresh_share >= ends_alarm)).any():
        return Wishes(smallest_fresh_share=ends_alarm)
    return Wishes(is_contaminated=True)


def _two_steps(
    numbers: PlanNumbers, case: ExchangeCase, rates: DueRates, plan: ExchangePlan
) -> TwoSteps | None:
    """The best plan in two steps; none for what stands still or is contaminated."""
    if numbers["km_per_day"] <= 0.0 or numbers["return_days"] <= 0.0 or numbers.is_contaminated:
        return None
    plans = plan_two_steps(case, rates, plan, numbers["return_days"] * numbers["km_per_day"])
    row = int(choose_two_steps(plans, np.array([wanted_fresh_share(numbers)]))[0])
    return None if row < 0 else TwoSteps(plans=plans, row=row)
