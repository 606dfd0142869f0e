"""Sentences about readings and due dates."""

from datetime import date

import pytest

from service.domain.due_reasons import (
    Contaminant,
    calendar_reason,
    condition_reason,
    contamination_reason,
    distance_reason,
    hours_reason,
    unknown_reason,
)
from service.domain.fluid_kinds import AUTOMATIC_KINDS, FluidKind
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.domain.units_of_distance import DistanceUnit


def test_every_reason_says_what_it_means_and_what_to_do() -> None:
    assert set(REASON_TEXTS) == set(ReadingReason)
    for text in REASON_TEXTS.values():
        assert text.meaning.endswith(".")
        assert text.advice.endswith(".")
        assert text.sentence == f"{text.meaning} {text.advice}"


def test_doubtful_odometers_are_held_and_never_dropped() -> None:
    for reason in (
        ReadingReason.ROLLBACK,
        ReadingReason.DIGIT_LOST_OR_ADDED,
        ReadingReason.OTHER_VEHICLE,
        ReadingReason.MILES_FOR_KM,
        ReadingReason.KM_FOR_MILES,
        ReadingReason.IMPLAUSIBLE_PACE,
        ReadingReason.CLUSTER_REPLACED,
    ):
        assert REASON_TEXTS[reason].outcome is ReadingOutcome.HELD


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        (distance_reason(1_250.4, DistanceUnit.KM), "The interval ends in about 1,250 km."),
        (distance_reason(-320, DistanceUnit.MI), "The interval ended about 320 mi ago."),
        (distance_reason(0, DistanceUnit.KM), "The interval ends now."),
        (hours_reason(40), "The interval ends in about 40 running hours."),
        (hours_reason(-3), "The interval ended about 3 running hours ago."),
        (hours_reason(0), "The interval ends now."),
        (
            calendar_reason(24, date(2026, 5, 12), date(2026, 5, 1)),
            "24 months since the last full service end on 2026-05-12.",
        ),
        (
            calendar_reason(24, date(2026, 5, 12), date(2026, 5, 12)),
            "24 months since the last full service end on 2026-05-12.",
        ),
        (
            calendar_reason(1, date(2026, 5, 12), date(2026, 6, 1)),
            "1 month since the last full service ended on 2026-05-12.",
        ),
    ],
)
def test_sentences_of_the_schedule(sentence: str, expected: str) -> None:
    assert sentence == expected


def test_condition_says_whether_anybody_looked() -> None:
    assert "83%" in condition_reason(0.83, 0.80, sampled=True)
    assert "last sample" in condition_reason(0.83, 0.80, sampled=True)
    assert "no sample yet" in condition_reason(0.83, 0.80, sampled=False)


def test_contamination_gives_what_was_found_and_the_limit() -> None:
    brakes, axle = FluidKind.BRAKE_FLUID, FluidKind.AXLE
    assert "3.40% water, limit 3.00%" in contamination_reason(Contaminant.WATER, 0.034, 0.03, brakes)
    assert "0.10% coolant:" in contamination_reason(Contaminant.COOLANT, 0.001, None, axle)
    assert "shows coolant in the fluid" in contamination_reason(Contaminant.COOLANT, None, None, axle)


@pytest.mark.parametrize("kind", FluidKind)
@pytest.mark.parametrize("contaminant", Contaminant)
def test_coolant_in_an_automatic_gearbox_is_nothing_that_new_fluid_mends(
    kind: FluidKind, contaminant: Contaminant
) -> None:
    """A heavy-duty operator's manual: strip and clean; of other gearboxes common practice, no source."""
    is_opened = "opened and cleaned" in contamination_reason(contaminant, 0.01, None, kind)
    assert is_opened == (contaminant is not Contaminant.WATER and kind in AUTOMATIC_KINDS)


def test_nothing_known_is_said() -> None:
    assert "nothing can be said" in unknown_reason()
