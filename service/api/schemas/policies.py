"""Request and answer models of service policies for a class of vehicles."""

import math
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    AgeingRate,
    Body,
    CompartmentLitres,
    HazardScaleKm,
    HazardShape,
    HighestLifeUsed,
    IntervalKm,
    LabourMinutes,
    LikelyProbability,
    MovingKmPerDay,
    PolicyRounds,
    PriceMinor,
    SpreadByMean,
)
from service.domain.duties import Duty
from service.domain.fluid_kinds import FluidKind
from service.domain.sourced import Flag
from service.domain.vehicle_classes import VehicleClass
from service.engine.policy.shares import MOST_ROUNDS
from service.usecases.plans import explain_policy
from service.usecases.plans.plan_policy import OwnPolicy, PlannedPolicy, Trial
from service.usecases.plans.policy_numbers import PolicyClass, PolicyNumbers

POLICY_EXAMPLE: dict[str, Any] = {
    "kind": "automatic_transmission_car",
    "class": "van",
    "duty": "mixed",
    "total_litres": 9.0,
    "price_minor_per_litre": 1100,
    "compliance_probability": 0.9,
    "own_policy": {"rounds": 1, "interval_km": 60_000},
}
ROW_EXAMPLE: dict[str, Any] = {
    "rounds": 2,
    "interval_km": 43_891,
    "interval_days": 627,
    "cost_minor_per_1000_km": 408.9,
    "cheapest_km": 43_891,
    "longest_km": 66_360,
    "flat_from_km": 36_500,
    "flat_to_km": 52_200,
    "is_held_by_limit": False,
    "peak_life_used": 0.66,
    "visit_litres": 8.4,
    "visit_cost_minor": 13_460,
    "effectively_new_share": 0.6636,
}
NOT_NUMBERS = frozenset({"kind", "vehicle_class", "duty", "own_policy"})


class OwnPolicyCreate(Body):
    """A policy to try beside the proposed one."""

    rounds: PolicyRounds
    interval_km: IntervalKm


class PolicyCreate(Body):
    """A class of vehicles, and the numbers that are known of it."""

    model_config = ConfigDict(json_schema_extra={"examples": [POLICY_EXAMPLE]})

    kind: FluidKind
    vehicle_class: VehicleClass = Field(alias="class")
    duty: Duty = Duty.NORMAL
    total_litres: CompartmentLitres | None = None
    drainable_litres: CompartmentLitres | None = Field(default=None, description="Of one round.")
    km_per_day: MovingKmPerDay | None = None
    life_used_per_km: AgeingRate | None = Field(
        default=None, description="Mean of the class; 1e-5 is 100,000 km a life."
    )
    life_used_per_day: AgeingRate | None = Field(default=None, description="By time alone, besides distance.")
    life_coefficient_of_variation: SpreadByMean | None = Field(
        default=None, description="Between vehicles of the class."
    )
    highest_life_used: HighestLifeUsed | None = None
    compliance_probability: LikelyProbability | None = Field(
        default=None, description="With which life used stays under that until each visit."
    )
    longest_interval_km: IntervalKm | None = Field(
        default=None, description="For other reasons, as a warranty."
    )
    price_minor_per_litre: PriceMinor | None = None
    disposal_minor_per_litre: PriceMinor | None = None
    labour_minor_per_hour: PriceMinor | None = None
    visit_minor: PriceMinor | None = Field(
        default=None, description="Besides labour: the way, the standing still."
    )
    visit_minutes: LabourMinutes | None = None
    round_minutes: LabourMinutes | None = None
    failure_minor: PriceMinor | None = Field(default=None, description="Of a failure of the unit.")
    hazard_shape: HazardShape | None = Field(
        default=None, description="Failures grow as this power of life used."
    )
    hazard_scale_km: HazardScaleKm | None = Field(
        default=None, description="Mean distance between failures with condemned fluid."
    )
    own_policy: OwnPolicyCreate | None = None

    def of(self) -> PolicyClass:
        """Tell the class."""
        return PolicyClass(vehicle_class=self.vehicle_class, kind=self.kind, duty=self.duty)

    def numbers(self) -> dict[str, float]:
        """Collect the numbers that were given."""
        given = self.model_dump(exclude=set(NOT_NUMBERS), exclude_none=True)
        return {name: float(value) for name, value in given.items()}

    def own(self) -> OwnPolicy | None:
        """Tell the policy to try beside, if there is one."""
        typed = self.own_policy
        return None if typed is None else OwnPolicy(n_rounds=typed.rounds, interval_km=typed.interval_km)


class PolicyNumberRead(BaseModel):
    """One number of the plan, and where it comes from."""

    name: str
    value: float
    is_given: bool
    flag: Flag | None = Field(description="How far it can be trusted; null if it was given.")
    source: str | None


class PolicyRow(BaseModel):
    """The best interval for one number of rounds; null where nothing sets an end."""

    rounds: int
    interval_km: float
    interval_days: float
    cost_minor_per_1000_km: float = Field(description="Visits, fluid and expected failures.")
    cheapest_km: float | None = Field(
        description="Interval with the lowest cost, whatever life used becomes."
    )
    longest_km: float = Field(description="Up to which life used stays under the limit as wanted.")
    flat_from_km: float | None = Field(description="From here on cost is within 2 % of that of cheapest_km.")
    flat_to_km: float | None
    is_held_by_limit: bool
    peak_life_used: float = Field(description="Mean, just before a visit.")
    visit_litres: float
    visit_cost_minor: int
    effectively_new_share: float

    @classmethod
    def of(cls, planned: PlannedPolicy, row: int) -> Self:
        """Show a row."""
        plan = planned.plan
        interval = float(plan.interval_km[row, 0])
        return cls(
            rounds=row + 1,
            interval_km=round(interval, 1),
            interval_days=round(interval / planned.numbers["km_per_day"], 1),
            cost_minor_per_1000_km=round(float(plan.cost_minor_per_km[row, 0]) * 1000.0, 4),
            cheapest_km=_finite(plan.unconstrained_km[row, 0]),
            longest_km=round(float(plan.longest_km[row, 0]), 1),
            flat_from_km=_finite(plan.flat_km.shortest[row, 0]),
            flat_to_km=_finite(plan.flat_km.longest[row, 0]),
            is_held_by_limit=bool(plan.is_held_by_limit[row, 0]),
            peak_life_used=round(float(plan.peak_life_used[row, 0]), 6),
            visit_litres=round(float(plan.visit_litres[row, 0]), 4),
            visit_cost_minor=round(float(planned.visit_minor[row])),
            effectively_new_share=round(float(plan.effectively_new_share[row, 0]), 6),
        )


class TrialRead(BaseModel):
    """A policy over 24 months, a vehicle, on average over the class."""

    rounds: int
    interval_km: float
    visits: float
    litres: float
    cost_minor: int = Field(description="Of the visits.")
    failure_cost_minor: int = Field(description="Expected.")
    share_of_time_above_limit: float
    mean_life_used: float

    @classmethod
    def of(cls, trial: Trial) -> Self:
        """Show a trial."""
        return cls(
            rounds=trial.n_rounds,
            interval_km=round(trial.interval_km, 1),
            visits=round(trial.n_visits, 4),
            litres=round(trial.litres, 4),
            cost_minor=round(trial.cost_minor),
            failure_cost_minor=round(trial.failure_minor),
            share_of_time_above_limit=round(trial.share_of_time_above_limit, 6),
            mean_life_used=round(trial.mean_life_used, 6),
        )


class PolicyRead(BaseModel):
    """One to six rounds side by side, the advised one, and what it would do."""

    model_config = ConfigDict(
        serialize_by_alias=True,
        json_schema_extra={
            "examples": [
                {
                    "kind": "automatic_transmission_car",
                    "class": "van",
                    "duty": "mixed",
                    "currency": "EUR",
                    "options": [ROW_EXAMPLE],
                    "recommended": ROW_EXAMPLE,
                    "why": "2 rounds every 43,900 km is the cheapest of one to six rounds: 4.09 EUR for 1,000 km.",
                }
            ]
        },
    )

    kind: FluidKind
    vehicle_class: VehicleClass = Field(serialization_alias="class")
    duty: Duty
    currency: str
    numbers: list[PolicyNumberRead]
    options: list[PolicyRow]
    recommended: PolicyRow
    why: str
    what_would_change: list[str]
    flatness: str | None
    months_24: TrialRead = Field(description="The advised policy, long in force.")
    months_24_own: TrialRead | None = Field(description="The policy that was typed in, long in force.")
    comparison: str | None
    notes: list[str]

    @classmethod
    def of(cls, planned: PlannedPolicy) -> Self:
        """Show a policy."""
        numbers = planned.numbers
        options = [PolicyRow.of(planned, row) for row in range(MOST_ROUNDS)]
        return cls(
            kind=numbers.of.kind,
            vehicle_class=numbers.of.vehicle_class,
            duty=numbers.of.duty,
            currency=numbers.currency,
            numbers=_numbers(numbers),
            options=options,
            recommended=options[planned.row],
            why=explain_policy.why(planned),
            what_would_change=explain_policy.what_would_change(planned),
            flatness=explain_policy.flatness(planned),
            months_24=TrialRead.of(planned.proposed),
            months_24_own=None if planned.own is None else TrialRead.of(planned.own),
            comparison=explain_policy.compare(planned),
            notes=explain_policy.notes(planned),
        )


def _numbers(numbers: PolicyNumbers) -> list[PolicyNumberRead]:
    given = [
        PolicyNumberRead(name=name, value=value, is_given=True, flag=None, source=None)
        for name, value in numbers.given.items()
    ]
    assumed = [
        PolicyNumberRead(name=name, value=one.value, is_given=False, flag=one.flag, source=one.source)
        for name, one in numbers.assumed.items()
        if name not in numbers.given
    ]
    return given + assumed


def _finite(value: Any) -> float | None:
    number = float(value)
    return round(number, 1) if math.isfinite(number) else None
