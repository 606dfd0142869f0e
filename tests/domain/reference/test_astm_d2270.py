"""ASTM D2270-10(2016), as the property library chemicals 1.5.2 computes it (published tables, library run)."""

import pytest
from chemicals.viscosity import viscosity_index as library_index
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.grades.viscosity_index import (
    reference_viscosities,
    rounded_viscosity_index,
    viscosity_index,
)


# First row: the worked example of the standard; the others: library run.
@pytest.mark.parametrize(
    ("at_40", "at_100", "expected"),
    [
        (73.3, 8.86, 92),
        (22.83, 5.05, 156),
        (53.47, 7.80, 111),
        (35.0, 7.2, 176),
        (29.5, 5.9, 149),
        (46.0, 6.8, 102),
        (1000.0, 80.0, 158),
    ],
)
def test_published_pairs_give_the_published_index(at_40: float, at_100: float, expected: int) -> None:
    assert rounded_viscosity_index(at_40, at_100) == expected


def test_reference_series_of_the_worked_example() -> None:
    low_series, high_series = reference_viscosities(8.86)
    assert low_series == pytest.approx(119.94, abs=0.005)
    assert high_series == pytest.approx(69.48, abs=0.005)
    assert viscosity_index(73.3, 8.86) == pytest.approx(92.4296, abs=5e-5)


@settings(max_examples=50)
@given(st.floats(2.0, 120.0), st.floats(2.0, 40.0))
def test_the_whole_range_agrees_with_the_library(at_100: float, ratio: float) -> None:
    at_40 = at_100 * ratio
    assert viscosity_index(at_40, at_100) == pytest.approx(
        library_index(at_40 * 1e-6, at_100 * 1e-6), rel=1e-9, abs=1e-9
    )


def test_below_two_the_index_is_not_defined() -> None:
    assert viscosity_index(6.0, 1.5) is None
    assert rounded_viscosity_index(6.0, 1.5) is None
    assert library_index(6.0e-6, 1.5e-6) is None
