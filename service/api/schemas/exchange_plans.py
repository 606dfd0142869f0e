"""Request and answer models of exchange plans."""

import math
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    Body,
    CompartmentLitres,
    Density,
    ExchangedLitres,
    ExpansionCelsius,
    Fraction,
    IntervalKm,
    IntervalMonths,
    KmPerDay,
    LifeUsed,
    PlannedDays,
    PriceMinor,
)
from service.domain.due_reasons import Limit
from service.domain.duties import Duty
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.service_work import VISIT_SETUP_MINUTES
from service.domain.vehicle_classes import VehicleClass
from service.engine.due.limits import Limit as LimitCode
from service.engine.policy.inputs import Method
from service.engine.policy.return_date import ReturnDate
from service.units import DAYS_PER_MONTH
from service.usecases.due.project_due import LIMIT_BY_CODE
from service.usecases.plans import explain_plan
from service.usecases.plans.plan_exchange import METHOD_BY_CODE, PlannedExchange

PLAN_EXAMPLE: dict[str, Any] = {
    "kind": "automatic_transmission_car",
    "total_litres": 8.0,
    "drainable_litres": 4.0,
    "old_life_used": 0.8,
    "target_fresh_share": 0.75,
    "ambient_celsius": 20,
    "level_celsius": 40,
    "price_minor_per_litre": 825,
    "km_per_day": 60,
}
OPTION_EXAMPLE: dict[str, Any] = {
    "method": "drain_and_fill",
    "rounds": 2,
    "litres_in": 7.88,
    "litres_out": 8,
    "fresh_share": 0.75,
    "fresh_share_after_each_round": [0.5, 0.75],
    "life_used_after": 0.2,
    "due_again": {"days": 801, "km": 48_060, "limit": "condition"},
    "excess_ml": 121.2,
}
FreshShare = Annotated[Fraction, Field(lt=1)]
NOT_NUMBERS = frozenset({"compartment", "kind", "vehicle_class", "duty", "interval_months"})


class ExchangePlanCreate(Body):
    """Numbers for a plan; with a compartment, what is stored of it stands for what is not given."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [PLAN_EXAMPLE, {"compartment": "cmp_31", "target_fresh_share": 0.75}]}
    )

    compartment: Annotated[str, Field(pattern=r"^cmp_[0-9]{1,19}$")] | None = None
    kind: FluidKind | None = None
    vehicle_class: VehicleClass | None = Field(default=None, alias="class")
    duty: Duty | None = None
    total_litres: CompartmentLitres | None = None
    drainable_litres: CompartmentLitres | None = Field(
        default=None, description="What one drain brings out, as measured at the level temperature."
    )
    drainable_share_sd: Fraction | None = Field(
        default=None, description="Standard deviation of the share of the whole that one drain brings out."
    )
    old_life_used: LifeUsed | None = None
    old_life_used_sd: Fraction | None = None
    target_fresh_share: FreshShare | None = None
    target_life_used: LifeUsed | None = None
    density_15c_kg_per_m3: Density | None = None
    ambient_celsius: ExpansionCelsius | None = Field(default=None, description="Of the fluid that is poured.")
    level_celsius: ExpansionCelsius | None = Field(
        default=None, description="Of the fluid at the level check."
    )
    overfill_litres: ExchangedLitres | None = None
    converter_litres: ExchangedLitres | None = Field(
        default=None, description="Part of the whole that no plug drains, as in a torque converter."
    )
    mixing_efficiency: Fraction | None = Field(
        default=None, description="How far that part mixes in between two rounds; 1 is completely."
    )
    line_litres: ExchangedLitres | None = Field(default=None, description="That a line exchange would pass.")
    price_minor_per_litre: PriceMinor | None = None
    disposal_minor_per_litre: PriceMinor | None = None
    labour_minor_per_hour: PriceMinor | None = None
    visit_minor: PriceMinor | None = None
    line_equipment_minor: PriceMinor | None = None
    km_per_day: KmPerDay | None = None
    interval_km: IntervalKm | None = None
    interval_months: IntervalMonths | None = None
    shortest_return_days: PlannedDays | None = None
    return_days: PlannedDays | None = Field(default=None, description="When a second step would come.")

    def numbers(self) -> dict[str, float]:
        """Collect the numbers that were given."""
        given = self.model_dump(exclude=set(NOT_NUMBERS), exclude_none=True)
        if self.interval_months is not None:
            given["interval_days"] = self.interval_months * DAYS_PER_MONTH
        return {name: float(value) for name, value in given.items()}


class DueAgain(BaseModel):
    """When it would be due; null where nothing ever makes it due."""

    days: float | None
    km: float | None
    limit: Limit

    @classmethod
    def of(cls, due: ReturnDate, *place: int) -> Self:
        """Show one entry."""
        limit = LIMIT_BY_CODE[LimitCode(int(due.limit[place]))]
        return cls(days=_finite(due.days[place], 1), km=_finite(due.km[place], 0), limit=limit)


class OptionRead(BaseModel):
    """One way to exchange the fluid."""

    method: ExchangeMethod
    rounds: int
    is_available: bool
    litres_in: float = Field(description="To pour at ambient so that the level is right, over-fill included.")
    litres_out: float = Field(description="As they run out, at `level_celsius`.")
    fresh_share: float
    fresh_share_after_each_round: list[float]
    life_used_after: float
    life_used_after_sd: float
    cost_minor: int = Field(
        description="Visit, labour, equipment, fluid and its disposal; fluid by its litres at 15 °C, "
        "not by those at ambient in `litres_in`."
    )
    labour_minutes: int = Field(
        description=f"With the {VISIT_SETUP_MINUTES.value:.0f} minutes of setting up the visit, which a line of the "
        "due list is without."
    )
    due_again: DueAgain
    cost_minor_per_1000_km: float | None
    excess_ml: float = Field(
        description="To run off at the level check if as much is poured cold as came out warm."
    )
    keepable_km: float | None = Field(description="Longest interval that this can keep, repeated for ever.")
    keeps_full_interval: bool

    @classmethod
    def of(cls, planned: PlannedExchange, row: int) -> Self:
        """Show a row of the plan."""
        plan, numbers = planned.plan, planned.numbers
        n_rounds = int(plan.n_rounds[row])
        is_line = Method(int(plan.method[row])) is Method.LINE_EXCHANGE
        out = numbers.get("line_litres", 0.0) if is_line else n_rounds * numbers["drainable_litres"]
        each = [] if is_line else [round(float(share), 6) for share in plan.fresh_share[: row + 1, 0]]
        excess = float(plan.excess_millilitres[row, 0]) + n_rounds * planned.excess_by_round_millilitres
        return cls(
            method=METHOD_BY_CODE[Method(int(plan.method[row]))],
            rounds=n_rounds,
            is_available=bool(plan.is_available[row, 0]),
            litres_in=round(float(plan.poured_litres[row, 0]), 4),
            litres_out=round(out, 4),
            fresh_share=round(float(plan.fresh_share[row, 0]), 6),
            fresh_share_after_each_round=each,
            life_used_after=round(float(plan.life_used_after[row, 0]), 6),
            life_used_after_sd=round(float(plan.life_used_after_sd[row, 0]), 6),
            cost_minor=round(float(plan.cost_minor[row, 0])),
            labour_minutes=round(float(plan.labour_minutes[row, 0])),
            due_again=DueAgain.of(plan.due, row, 0),
            cost_minor_per_1000_km=_finite(plan.cost_minor_per_1000_km[row, 0], 1),
            excess_ml=round(excess, 1),
            keepable_km=_finite(plan.keepable_km[row, 0], 0),
            keeps_full_interval=bool(plan.keeps_full_interval[row, 0]),
        )


class AdvisedOption(OptionRead):
    """The advised way, with the reason and what would change it."""

    why: str
    what_would_change: list[str]
    interval: str | None = Field(description="What it can keep, where that is not the whole interval.")


class ReturnPlan(BaseModel):
    """Some rounds now and more after a distance; accept it with a return visit."""

    rounds_now: int
    rounds_at_return: int
    after_days: float
    after_km: float
    fresh_share: float
    life_used_before_return: float
    life_used_after: float
    cost_minor: int
    sentence: str


class ExchangePlanRead(BaseModel):
    """Rounds one to six and a line exchange side by side."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "kind": "automatic_transmission_car",
                    "currency": "EUR",
                    "numbers": {"total_litres": 8, "drainable_litres": 4, "old_life_used": 0.8},
                    "basis": {"total_litres": "given", "density_15c_kg_per_m3": "assumed"},
                    "rounds_needed": 2,
                    "options": [OPTION_EXAMPLE],
                    "recommended": {
                        **OPTION_EXAMPLE,
                        "why": "Only 2 rounds reach 75% fresh fluid in one visit.",
                    },
                }
            ]
        }
    )

    kind: FluidKind
    currency: str
    numbers: dict[str, float | None]
    basis: dict[str, str] = Field(description="Of each number: given, stored or assumed.")
    rounds_needed: int | None = Field(description="Fewest rounds that reach the target; null beyond six.")
    options: list[OptionRead]
    due_without_service: DueAgain
    recommended: AdvisedOption
    return_visit: ReturnPlan | None
    notes: list[str]
    cautions: list[str]

    @classmethod
    def of(cls, planned: PlannedExchange) -> Self:
        """Show a plan."""
        rows = range(len(planned.plan.n_rounds))
        options = [OptionRead.of(planned, row) for row in rows]
        best = options[int(planned.recommended.option[0])]
        fewest = planned.fewest_rounds
        return cls(
            kind=planned.numbers.kind,
            currency=planned.numbers.currency,
            numbers={name: _rounded(value) for name, value in planned.numbers.values.items()},
            basis=dict(planned.numbers.basis),
            rounds_needed=fewest if fewest <= max(option.rounds for option in options) else None,
            options=options,
            due_without_service=DueAgain.of(planned.plan.due_without_service, 0),
            recommended=AdvisedOption(
                **best.model_dump(),
                why=explain_plan.why(planned),
                what_would_change=explain_plan.what_would_change(planned),
                interval=explain_plan.what_it_keeps(planned),
            ),
            return_visit=_return_plan(planned),
            notes=explain_plan.notes(planned),
            cautions=planned.cautions,
        )


def _return_plan(planned: PlannedExchange) -> ReturnPlan | None:
    steps = planned.two_steps
    sentence = explain_plan.how_to_come_back(planned)
    if steps is None or sentence is None:
        return None
    plans, row = steps.plans, steps.row
    return ReturnPlan(
        rounds_now=int(plans.first_rounds[row]),
        rounds_at_return=int(plans.second_rounds[row]),
        after_days=round(float(plans.return_days[0]), 1),
        after_km=round(float(plans.return_km[0]), 0),
        fresh_share=round(float(plans.fresh_share[row, 0]), 6),
        life_used_before_return=round(float(plans.life_used_before_second[row, 0]), 4),
        life_used_after=round(float(plans.life_used_after[row, 0]), 4),
        cost_minor=round(float(plans.cost_minor[row, 0])),
        sentence=sentence,
    )


def _finite(value: Any, digits: int) -> float | None:
    number = float(value)
    return round(number, digits) if math.isfinite(number) else None


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 9)
