"""Weigh what was seen or measured of a fluid against what the model expects."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np

from service.domain.due_reasons import Contaminant
from service.domain.fluid_kinds import COOLANT_KINDS, FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.limits import AlarmLevel, AlarmLimit, Basis
from service.domain.visual_grades import is_contamination, life_used_from_grade, parse_grade
from service.engine.evidence.grades import life_used_from_laboratory
from service.engine.evidence.observe import observe, record_measured_contents
from service.store.tables.fluids import Fluid
from service.store.tables.services import Sample
from service.usecases.fluids.follow_fluid import FluidPoint, Observe

LABORATORY_SD: Final = 0.08
"""Standard deviation of a life used from laboratory values. Common practice, no source."""

AGEING_PROPERTIES: Final = frozenset(
    {
        LaboratoryProperty.VISCOSITY_40C_MM2_PER_S,
        LaboratoryProperty.VISCOSITY_100C_MM2_PER_S,
        LaboratoryProperty.ACID_NUMBER_MG_KOH_PER_G,
        LaboratoryProperty.BASE_NUMBER_MG_KOH_PER_G,
        LaboratoryProperty.ANTIOXIDANT_LEFT_FRACTION,
        LaboratoryProperty.OXIDATION_ABS_PER_CM,
        LaboratoryProperty.NITRATION_ABS_PER_CM,
        LaboratoryProperty.SULFATION_ABS_PER_CM,
        LaboratoryProperty.SOOT_FRACTION,
    }
)
"""What tells how far the fluid itself has gone; metals and water tell of the machine and of leaks."""

CONTAMINANTS: Final = frozenset({LaboratoryProperty.WATER_FRACTION, LaboratoryProperty.COOLANT_FRACTION})
"""Only a laboratory that looked for these can say that an alarm is over."""

FLUID_FACTS: Final = frozenset({"is_dyed", "new_values"})
"""What a sample is read against, of the facts of a fluid."""


def observer_for(kind: FluidKind, fluid: Fluid | None, limits: Sequence[AlarmLimit]) -> Observe:
    """Make the function that weighs samples of one compartment against the limits of its kind."""
    is_dyed = fluid.is_dyed if fluid is not None else kind == FluidKind.AUTOMATIC_TRANSMISSION_CAR
    new_values = fluid.new_values if fluid is not None else {}
    return partial(_weigh, _Yardstick(kind=kind, new_values=new_values, is_dyed=is_dyed, limits=limits))


def laboratory_life_used(
    limits: Sequence[AlarmLimit], values: Mapping[str, float], new_values: Mapping[str, float]
) -> tuple[float, str] | None:
    """Life used that laboratory values stand for, and the property that decides; none if no limit can be applied."""
    best: tuple[float, str] | None = None
    for limit in limits:
        life_used = _life_used(limit, values, new_values)
        if life_used is not None and (best is None or life_used > best[0]):
            best = (life_used, str(limit.laboratory_property))
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What should not be in a fluid, how much of it was measured, and how much of it would do no harm."""

    contaminant: Contaminant
    found_fraction: float | None = None
    limit_fraction: float | None = None


def contamination_shown(
    kind: FluidKind, grade: str | None, values: Mapping[str, float], limits: Sequence[AlarmLimit]
) -> Found | None:
    """Water beyond its critical limit, or any coolant where none belongs; what was measured goes before a look."""
    coolant = values.get(LaboratoryProperty.COOLANT_FRACTION, 0.0)
    if coolant > 0.0 and kind not in COOLANT_KINDS:
        return Found(contaminant=Contaminant.COOLANT, found_fraction=coolant)
    water = values.get(LaboratoryProperty.WATER_FRACTION, 0.0)
    for limit in limits:
        is_of_water = limit.laboratory_property is LaboratoryProperty.WATER_FRACTION
        if is_of_water and limit.basis is Basis.VALUE and limit.level(water) is AlarmLevel.CRITICAL:
            return Found(contaminant=Contaminant.WATER, found_fraction=water, limit_fraction=limit.critical)
    if grade is not None and is_contamination(parse_grade("/grade", grade), kind):
        return Found(contaminant=Contaminant.WATER_OR_COOLANT)
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Yardstick:
    """What the samples of one compartment are held against."""

    kind: FluidKind
    new_values: Mapping[str, float]
    is_dyed: bool
    limits: Sequence[AlarmLimit]


def _weigh(yardstick: _Yardstick, point: FluidPoint, seen: Sample | str) -> FluidPoint:
    kind, is_dyed = yardstick.kind, yardstick.is_dyed
    if isinstance(seen, str):
        return _looked_at(kind, is_dyed, point, seen)
    if seen.grade is not None:
        point = _looked_at(kind, is_dyed, point, seen.grade)
    if seen.has_values:
        new_values = {**yardstick.new_values, **seen.new_values}
        point = _measured(yardstick.limits, new_values, point, seen.laboratory)
    is_cleared = seen.has_values and not CONTAMINANTS.isdisjoint(seen.laboratory)
    was_contaminated = point.is_contaminated and not is_cleared
    return replace(point, is_contaminated=seen.is_contaminated or was_contaminated, is_sampled=True)


def _looked_at(kind: FluidKind, is_dyed: bool, point: FluidPoint, text: str) -> FluidPoint:
    """Weigh a look; what looks better than the estimate changes nothing, since a good colour puts no date off."""
    grade = parse_grade("/grade", text)
    life_used = life_used_from_grade(grade, kind, is_dyed_red=is_dyed)
    is_worse = life_used is not None and life_used.value > float(point.fluid.life_used[0])
    if life_used is not None and life_used.standard_deviation is not None and is_worse:
        seen = observe(point.fluid, life_used.value, life_used.standard_deviation, is_laboratory=False)
        point = replace(point, fluid=seen, is_sampled=True)
    return replace(point, is_contaminated=point.is_contaminated or is_contamination(grade, kind))


def _measured(
    limits: Sequence[AlarmLimit],
    new_values: Mapping[str, float],
    point: FluidPoint,
    values: Mapping[str, float],
) -> FluidPoint:
    fluid = record_measured_contents(
        point.fluid,
        water_mass_fraction=values.get(LaboratoryProperty.WATER_FRACTION, np.nan),
        iron_mg_per_kg=values.get(LaboratoryProperty.IRON_MG_PER_KG, np.nan),
        glycol_fraction=values.get(LaboratoryProperty.GLYCOL_FRACTION, np.nan),
    )
    found = laboratory_life_used(limits, values, new_values)
    if found is not None:
        fluid = observe(fluid, found[0], LABORATORY_SD, is_laboratory=True)
    return replace(point, fluid=fluid)


def _life_used(
    limit: AlarmLimit, values: Mapping[str, float], new_values: Mapping[str, float]
) -> float | None:
    name = limit.laboratory_property
    if name not in AGEING_PROPERTIES or name not in values:
        return None
    new = new_values.get(name, 0.0 if limit.basis is Basis.VALUE else None)
    if name == LaboratoryProperty.ANTIOXIDANT_LEFT_FRACTION:
        new = 1.0
    if new is None:
        return None
    low, high = _bounds(limit, new)
    if (low is not None and low >= new) or (high is not None and high <= new):
        # a limit that the new fluid has passed already says nothing about ageing
        return None
    worst = life_used_from_laboratory(
        np.array([[values[name]]]),
        np.array([new]),
        lower_limits=np.array([np.nan if low is None else low]),
        upper_limits=np.array([np.nan if high is None else high]),
    )
    return float(worst[0])


def _bounds(limit: AlarmLimit, new: float) -> tuple[float | None, float | None]:
    """Condemning values below and above the new one."""
    critical = limit.critical
    if limit.basis is Basis.VALUE:
        return None, critical
    if limit.basis is Basis.VALUE_FALLING:
        return critical, None
    if limit.basis is Basis.INCREASE:
        return None, new + critical
    if limit.basis is Basis.LEFT_FRACTION:
        return new * critical, None
    return new * (1.0 - critical), new * (1.0 + critical)
