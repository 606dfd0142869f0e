"""Whole per cent, and never more certain than it is; the rule is our own."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.chances import asked, chance


@pytest.mark.parametrize(
    ("probability", "told"),
    [
        (0.0, "0 %"),
        (0.0004, "< 1 %"),
        (0.0781, "8 %"),
        (0.5, "50 %"),
        (0.995, "> 99 %"),
        (1.0, "100 %"),
    ],
)
def test_a_probability_has_no_more_digits_than_it_deserves(probability, told):
    assert chance(probability) == told


@settings(max_examples=50)
@given(st.floats(0.0, 1.0, exclude_min=True, exclude_max=True))
def test_what_is_uncertain_is_never_called_certain_or_impossible(probability):
    assert chance(probability) not in {"0 %", "100 %"}


def test_what_somebody_chose_keeps_its_digits():
    assert [asked(share) for share in (0.9, 0.975, 0.9995)] == ["90 %", "97.5 %", "99.95 %"]
