"""What a sample says: limits reached, rates of change, what it did to the estimate, and its cautions."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.cautions import DEFERENCE
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.laboratory_report import GradeShown, grades_shown
from service.domain.limits import AlarmLevel, AlarmLimit, Basis
from service.domain.visual_grades import VisualGrade, colour_caution, grade_texts
from service.engine.evidence.trend import SamplePairs, rate_of_change
from service.store.repositories import fleet, fluids
from service.store.tables.services import Sample
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.alarm_limits import limits_in_force
from service.usecases.fluids.follow_fluid import FluidHistory, FluidPoint, Step
from service.usecases.fluids.update_states import explain_state

RATE_ALARM_FACTOR: Final = 2.0
"""A rate is an alarm if it would reach the critical limit in half of the fluid's life. Common practice, no source."""

MEASUREMENT_SD_SHARE: Final = 0.05
"""Of a laboratory value, for the spread of a rate. Common practice, no source."""

KM_OF_RATE: Final = 1000.0
HOURS_OF_RATE: Final = 100.0

BRAKE_CAUTION: Final = (
    "The brake fluid holds so much water that it can boil under hard braking and the pedal go soft. Have it "
    "changed before the vehicle goes on."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitReached:
    """A value that its limit calls a caution or critical."""

    limit: AlarmLimit
    level: AlarmLevel
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """How fast a value rose since the sample before, exchanges in between corrected for."""

    laboratory_property: LaboratoryProperty
    rate: float
    rate_sd: float
    highest_rate: float | None
    per: str
    is_alarm: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleFindings:
    """Everything that follows from one sample."""

    sample: Sample
    compartment: Compartment
    limits: list[LimitReached]
    rates: list[Rate]
    grades: list[GradeShown]
    before: FluidPoint | None
    """The estimate just before; none of a voided sample."""

    after: FluidPoint | None
    cautions: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two samples that measured one property, and what happened from the one to the other."""

    limit: AlarmLimit
    earlier_value: float
    later_value: float
    new_value: float
    steps: Sequence[Step]


@dataclass(frozen=True, slots=True)
class _Meter:
    """A meter of a vehicle by which a rate can be told."""

    attribute: str
    whole_life: float
    """Of the fluid, on this meter."""

    unit: float
    per: str


def judge_sample(session: Session, organisation_id: int, sample: Sample) -> SampleFindings:
    """Compare a stored sample with the limits and with what was known before."""
    (compartment,) = fleet.compartments_by_id(session, organisation_id, [sample.compartment_id])
    kind = FluidKind(compartment.kind)
    products = {fluid.id: fluid for fluid in fluids.list_fluids(session, organisation_id)}
    product = products.get(compartment.fluid_id)
    new_values = {**(product.new_values if product is not None else {}), **sample.new_values}
    limits = limits_in_force(session, organisation_id)[kind]
    history, steps = explain_state(session, organisation_id, compartment)
    place = next((i for i, step in enumerate(steps) if _is_of(step, sample)), None)
    return SampleFindings(
        sample=sample,
        compartment=compartment,
        limits=_limits_reached(limits, sample, new_values),
        rates=[] if place is None else _rates(history, limits, steps[: place + 1], sample, new_values),
        grades=grades_shown(kind, sample.laboratory),
        before=None if place is None else steps[place].before,
        after=None if place is None else steps[place].after,
        cautions=_cautions(kind, sample),
    )


def _is_of(step: Step, sample: Sample) -> bool:
    return step.kind == "sample" and step.source_id == sample.id


def _limits_reached(
    limits: Sequence[AlarmLimit], sample: Sample, new_values: dict[str, float]
) -> list[LimitReached]:
    found = []
    for limit in limits:
        name = limit.laboratory_property
        if name in sample.laboratory:
            level = limit.level(sample.laboratory[name], new_values.get(name))
            if level in {AlarmLevel.CAUTION, AlarmLevel.CRITICAL}:
                found.append(LimitReached(limit=limit, level=level, value=sample.laboratory[name]))
    return found


def _cautions(kind: FluidKind, sample: Sample) -> list[str]:
    found, texts = [], grade_texts(kind)
    is_milky = sample.grade == VisualGrade.MILKY
    if sample.is_contaminated and kind is FluidKind.BRAKE_FLUID and not is_milky:
        found = [BRAKE_CAUTION, DEFERENCE]
    elif sample.is_contaminated or is_milky:
        found = [str(texts[VisualGrade.MILKY].advice), DEFERENCE]
    elif sample.grade == VisualGrade.BLACK:
        found = [str(texts[VisualGrade.BLACK].advice)]
    if sample.grade is not None and not sample.has_values:
        found.append(colour_caution(kind))
    return found


def _rates(
    history: FluidHistory,
    limits: Sequence[AlarmLimit],
    steps: Sequence[Step],
    sample: Sample,
    new_values: dict[str, float],
) -> list[Rate]:
    samples = {one.id: one for one in history.samples}
    meters = _meters(history)
    found = []
    for limit in limits:
        name = limit.laboratory_property
        if limit.basis not in {Basis.VALUE, Basis.INCREASE} or sample.laboratory.get(name, -1.0) < 0.0:
            continue
        start = _last_with(steps[:-1], samples, name)
        earlier_value = -1.0 if start is None else float(samples[steps[start].source_id].laboratory[name])
        if start is None or earlier_value < 0.0:
            continue
        pair = _Pair(
            limit=limit,
            earlier_value=earlier_value,
            later_value=float(sample.laboratory[name]),
            new_value=new_values.get(name, 0.0),
            steps=steps[start:],
        )
        rate = _rate(pair, meters)
        found += [] if rate is None else [rate]
    return found


def _last_with(
    steps: Sequence[Step], samples: dict[int | None, Sample], name: LaboratoryProperty
) -> int | None:
    for place in range(len(steps) - 1, -1, -1):
        step = steps[place]
        if step.kind == "sample" and name in samples[step.source_id].laboratory:
            return place
    return None


def _meters(history: FluidHistory) -> tuple[_Meter, _Meter]:
    """What a rate may be told by; the distance comes first."""
    rates = history.parameters.rates
    return (
        _Meter("odometer_km", np.asarray(rates.distance_limit_km).item(), KM_OF_RATE, "1000 km"),
        _Meter("engine_hours", np.asarray(rates.hours_limit).item(), HOURS_OF_RATE, "100 h"),
    )


def _rate(pair: _Pair, meters: Sequence[_Meter]) -> Rate | None:
    """Rate between two samples by the first meter that ran on between them; none if none did."""
    for meter in meters:
        shown = [getattr(step.after, meter.attribute) for step in pair.steps]
        if None not in shown and shown[-1] > shown[0]:
            return _rate_by(meter, shown, pair)
    return None


def _rate_by(meter: _Meter, shown: Sequence[float], pair: _Pair) -> Rate:
    """Rate by a meter that showed this at each step."""
    limit = pair.limit
    room = limit.critical - (pair.new_value if limit.basis is Basis.VALUE else 0.0)
    highest = RATE_ALARM_FACTOR * room / meter.whole_life
    exchanges = [
        (at, 1.0 - step.figures["fresh_share"])
        for step, at in zip(pair.steps, shown, strict=True)
        if step.kind == "service" and "fresh_share" in step.figures
    ]
    result = rate_of_change(
        SamplePairs(
            earlier_value=pair.earlier_value,
            later_value=pair.later_value,
            earlier_km=shown[0],
            later_km=shown[-1],
            new_fluid_value=pair.new_value,
            value_sd=MEASUREMENT_SD_SHARE * max(pair.later_value, pair.earlier_value),
        ),
        exchanged_at_km=np.array([at for at, _ in exchanges]).reshape(-1, 1),
        retained_share=np.array([share for _, share in exchanges]).reshape(-1, 1),
        highest_rate_per_km=highest if highest > 0.0 else np.inf,
    )
    return Rate(
        laboratory_property=limit.laboratory_property,
        rate=result.rate_per_km.item() * meter.unit,
        rate_sd=result.rate_sd_per_km.item() * meter.unit,
        highest_rate=highest * meter.unit if highest > 0.0 else None,
        per=meter.per,
        is_alarm=bool(result.is_alarm[0]),
    )
