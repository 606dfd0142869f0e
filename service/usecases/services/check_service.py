"""Whether a service can have been done as it was told: each refusal points at the field and says what to do."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_kinds import FluidKind
from service.domain.mixing import MixingVerdict, family_of, meets, mixing
from service.domain.service_work import STEP_TEXTS, ServiceStep
from service.domain.visual_grades import parse_grade
from service.errors import FieldError, InvalidInputError
from service.store.tables.fluids import Fluid
from service.store.tables.vehicles import Compartment
from service.usecases.services.service_entries import NewWork
from service.usecases.services.set_level import level_advice

MOST_HELD_SHARE: Final = 1.5
"""Nobody gets half as much again into a closed unit. Common practice, no source."""

MOST_TURNOVERS: Final = 10.0
"""More than that passed through by a line is a slip of the pen. Common practice, no source."""

SMALLEST_EXCESS_LITRES: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What is known of a compartment at the moment of the work."""

    compartment: Compartment
    held_litres: float
    fluid: Fluid | None
    """What was filled."""

    present: Fluid | None
    """What was in it."""


def check_work(pointer: str, work: NewWork, known: Circumstances) -> list[FieldError]:
    """List everything that is wrong with one compartment's part of a service."""
    return [
        *_check_method(pointer, work),
        *_check_litres(pointer, work, known),
        *_check_fluid(pointer, work, known),
        *_check_level(pointer, work, known),
        *_check_counter(pointer, work, known.compartment),
        *_check_grade(pointer, work),
    ]


def _check_method(pointer: str, work: NewWork) -> Iterator[FieldError]:
    is_by_line = work.method in {ExchangeMethod.LINE_EXCHANGE, ExchangeMethod.FLUSH}
    if work.passed_litres is not None and not is_by_line:
        yield FieldError(
            f"{pointer}/passed_litres", "Only a line exchange or a flush passes fluid through; use rounds."
        )
    if work.method is ExchangeMethod.TOP_UP and any(one.drained_litres > 0.0 for one in work.rounds):
        yield FieldError(f"{pointer}/method", "A top-up drains nothing; call this drain_and_fill.")
    if work.method is ExchangeMethod.LINE_EXCHANGE and not work.passed_litres:
        yield FieldError(
            f"{pointer}/passed_litres",
            "A line exchange passes fluid through; say how many litres, or call this drain_and_fill.",
        )
        return
    drained = any(one.drained_litres > 0.0 for one in work.rounds)
    if work.method is ExchangeMethod.DRAIN_AND_FILL and work.filled_litres > 0.0 and not drained:
        yield FieldError(f"{pointer}/method", "Nothing was drained; call this a top-up (top_up).")
    if work.filled_litres <= 0.0:
        field = "passed_litres" if is_by_line else "rounds"
        yield FieldError(f"{pointer}/{field}", "Nothing was filled; say how many litres went in.")


def _check_litres(pointer: str, work: NewWork, known: Circumstances) -> Iterator[FieldError]:
    total = known.compartment.total_litres
    held = known.held_litres
    for number, one in enumerate(work.rounds):
        if one.drained_litres > held + SMALLEST_EXCESS_LITRES:
            yield FieldError(
                f"{pointer}/rounds/{number}/drained_litres",
                f"More than the compartment held at that moment: {held:.2f} L. Measure again, or correct "
                "the compartment's total_litres.",
            )
            return
        held += one.filled_litres - one.drained_litres
        if held > MOST_HELD_SHARE * total:
            yield FieldError(
                f"{pointer}/rounds/{number}/filled_litres",
                f"Leaves {held:.2f} L in a compartment of {total:.2f} L; check the figure.",
            )
            return
    if work.passed_litres and held <= SMALLEST_EXCESS_LITRES:
        yield FieldError(f"{pointer}/passed_litres", "Nothing is left to push out; record it as rounds.")
    if (work.passed_litres or 0.0) > MOST_TURNOVERS * total:
        yield FieldError(
            f"{pointer}/passed_litres",
            f"More than {MOST_TURNOVERS:.0f} times what the compartment holds; check the figure.",
        )
    if (work.excess_drained_litres or 0.0) > total:
        yield FieldError(
            f"{pointer}/excess_drained_litres", f"More than the compartment holds, {total:.2f} L."
        )


def _check_fluid(pointer: str, work: NewWork, known: Circumstances) -> Iterator[FieldError]:
    if known.fluid is None:
        return
    required = known.compartment.specification
    if required and not meets(required, known.fluid.specifications) and not work.override_reason:
        yield FieldError(
            f"{pointer}/fluid",
            f"The compartment requires “{required}”, and {known.fluid.reference} does not say that it meets "
            "it. Use a fluid that does, or give an override_reason, which the job sheet will show.",
        )
    yield from _check_mixing(pointer, work, known, known.fluid)


def _check_mixing(pointer: str, work: NewWork, known: Circumstances, fluid: Fluid) -> Iterator[FieldError]:
    kind = FluidKind(known.compartment.kind)
    filled = family_of(FluidKind(fluid.kind), fluid.specifications)
    required = known.compartment.specification
    others = {family_of(kind, [required] if required else [])}
    if known.present is not None:
        others.add(family_of(FluidKind(known.present.kind), known.present.specifications))
    for other in sorted(others):
        verdict = mixing(filled, other)
        if verdict.verdict is MixingVerdict.NEVER:
            yield FieldError(
                f"{pointer}/fluid", f"Must not meet what is in there; no override. {verdict.reason}"
            )
            return
        if not verdict.is_allowed and not work.override_reason:
            yield FieldError(
                f"{pointer}/fluid", f"{verdict.reason} If the maker allows it, give an override_reason."
            )
            return


def _check_level(pointer: str, work: NewWork, known: Circumstances) -> Iterator[FieldError]:
    if work.level_celsius is None or work.override_reason:
        return
    advice = level_advice(work.level_celsius, known.compartment, known.fluid)
    if advice is not None:
        yield FieldError(f"{pointer}/level_celsius", advice)


def _check_counter(pointer: str, work: NewWork, compartment: Compartment) -> Iterator[FieldError]:
    if not compartment.has_fluid_counter or work.method is ExchangeMethod.TOP_UP:
        return
    if work.counter_reset is not True and not work.override_reason:
        yield FieldError(
            f"{pointer}/counter_reset",
            f"This unit has a fluid counter. {STEP_TEXTS[ServiceStep.COUNTER_RESET].why} Reset it, or give "
            "an override_reason.",
        )


def _check_grade(pointer: str, work: NewWork) -> Iterator[FieldError]:
    if work.old_fluid_grade is None:
        return
    try:
        parse_grade(f"{pointer}/old_fluid_grade", work.old_fluid_grade)
    except InvalidInputError as error:
        yield from error.errors
