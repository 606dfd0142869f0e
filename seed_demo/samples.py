"""Drops on white paper and bottles sent to an invented laboratory, drawn from the true state of the fluid."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.grades import grade_of
from seed_demo.instruments import Instruments
from seed_demo.records import DemoSample
from seed_demo.upkeep import Upkeep
from seed_demo.wear import life_grown
from service.domain.fluid_kinds import AUTOMATIC_KINDS, FluidKind
from service.domain.laboratory import LaboratoryProperty
from service.domain.visual_grades import VisualGrade

LABORATORY_KINDS: Final = frozenset(
    {FluidKind.AUTOMATIC_TRANSMISSION_HEAVY, FluidKind.TRACTOR_TRANSMISSION, FluidKind.HYDRAULIC}
)
CHANCE_OF_GRADE: Final = 0.45
CHANCE_OF_LABORATORY: Final = 0.4
LEAST_DAYS_IN_USE: Final = 15.0
PLANNED_SAMPLE_BEFORE_NOW_DAYS: Final = 9.6
CONTAMINATION_BEFORE_NOW_DAYS: Final = 3.6

IRON_AT_LIMIT_MG_PER_KG: Final = 120.0
ACID_NUMBER_WHEN_NEW: Final = 0.8
ACID_NUMBER_RISE_AT_LIMIT: Final = 3.0
"""Operator's manual of a heavy automatic transmission, table of fluid condition limits; seen second-hand."""


def draw_samples(
    upkeeps: Sequence[Upkeep], instruments: Instruments, now: datetime, seed: int
) -> tuple[DemoSample, ...]:
    """Take samples since the last service of some compartments; oldest first."""
    rng = np.random.default_rng([seed, 7])
    now_day = instruments.usage.day_number(now)
    samples: list[DemoSample] = []
    for upkeep in upkeeps:
        samples += _samples_of(upkeep, instruments, now_day, rng)
    return tuple(sorted(samples, key=lambda sample: (sample.taken_at, sample.reference)))


def _samples_of(
    upkeep: Upkeep, instruments: Instruments, now_day: float, rng: np.random.Generator
) -> list[DemoSample]:
    compartment, fill = upkeep.table.compartment, upkeep.fill
    kind = FluidKind(compartment.kind)
    chances = rng.random(2)
    day = min(fill.day + LEAST_DAYS_IN_USE, now_day - 1.0) + rng.uniform(0.0, 1.0) * max(
        now_day - 2.0 - fill.day - LEAST_DAYS_IN_USE, 0.0
    )
    if (compartment.vehicle, compartment.compartment) == cast.CONTAMINATED:
        return [_contaminated(upkeep, instruments, now_day - CONTAMINATION_BEFORE_NOW_DAYS, rng)]
    if upkeep.table.planned is not None and upkeep.table.planned.limit == "condition":
        day = now_day - PLANNED_SAMPLE_BEFORE_NOW_DAYS
        return [_graded(upkeep, instruments, day, rng), _analysed(upkeep, instruments, day, rng)]
    if day < fill.day + LEAST_DAYS_IN_USE:
        return []
    samples = []
    if kind in AUTOMATIC_KINDS and chances[0] < CHANCE_OF_GRADE:
        samples.append(_graded(upkeep, instruments, day, rng))
    if kind in LABORATORY_KINDS and chances[1] < CHANCE_OF_LABORATORY:
        samples.append(_analysed(upkeep, instruments, day, rng))
    return samples


def _life_used(upkeep: Upkeep, day: float) -> float:
    table, fill = upkeep.table, upkeep.fill
    return fill.life_used + float(life_grown(table.wear, table.past, fill.day, day))


def _taken(upkeep: Upkeep, instruments: Instruments, day: float, reference: str) -> DemoSample:
    row, compartment = upkeep.table.row, upkeep.table.compartment
    vehicle = instruments.vehicles[row]
    place = compartment.compartment.upper().replace(" ", "-")
    return DemoSample(
        vehicle=vehicle.vehicle,
        compartment=compartment.compartment,
        taken_at=instruments.usage.at_day(day),
        odometer=instruments.odometer(row, day, "workshop"),
        unit=vehicle.odometer_unit,
        reference=f"{vehicle.vehicle}-{place}-{reference}",
    )


def _graded(upkeep: Upkeep, instruments: Instruments, day: float, rng: np.random.Generator) -> DemoSample:
    grade = grade_of(_life_used(upkeep, day), rng)
    return replace(_taken(upkeep, instruments, day, "DROP"), grade=grade.value)


def _analysed(upkeep: Upkeep, instruments: Instruments, day: float, rng: np.random.Generator) -> DemoSample:
    life = _life_used(upkeep, day)
    noise = np.exp(0.06 * rng.standard_normal(2))
    values = {
        LaboratoryProperty.IRON_MG_PER_KG.value: round(IRON_AT_LIMIT_MG_PER_KG * life * float(noise[0]), 1),
        LaboratoryProperty.ACID_NUMBER_MG_KOH_PER_G.value: round(
            ACID_NUMBER_WHEN_NEW + ACID_NUMBER_RISE_AT_LIMIT * life * float(noise[1]), 2
        ),
        LaboratoryProperty.WATER_FRACTION.value: round(float(rng.uniform(0.0001, 0.0005)), 5),
    }
    return replace(_taken(upkeep, instruments, day, "LAB"), laboratory=values)


def _contaminated(
    upkeep: Upkeep, instruments: Instruments, day: float, rng: np.random.Generator
) -> DemoSample:
    """Find coolant in the fluid: milky, wet, and due now."""
    analysed = _analysed(upkeep, instruments, day, rng)
    wet = {
        **analysed.laboratory,
        LaboratoryProperty.WATER_FRACTION.value: 0.0062,
        LaboratoryProperty.COOLANT_FRACTION.value: 0.009,
        LaboratoryProperty.SODIUM_MG_PER_KG.value: 310.0,
    }
    return replace(analysed, laboratory=wet, grade=VisualGrade.MILKY.value, is_contaminated=True)
