"""ISO 3448 viscosity classes, as trade pages print them (published; classes 2200 and 3200 from memory)."""

from itertools import pairwise

import pytest

from service.domain.grades.iso_3448 import CLASS_LIMITS_MM2_PER_S, viscosity_class


@pytest.mark.parametrize(
    ("viscosity", "expected"),
    [
        (41.4, 46),
        (46.0, 46),
        (50.6, 46),
        (50.7, None),
        (2.2, 2),
        (4.6, 5),
        (6.8, 7),
        (1650, 1500),
        (100, 100),
    ],
)
def test_a_class_reaches_ten_percent_to_either_side(viscosity: float, expected: int | None) -> None:
    assert viscosity_class(viscosity) == expected


def test_there_are_twenty_classes_and_none_overlap() -> None:
    limits = list(CLASS_LIMITS_MM2_PER_S.values())
    assert len(limits) == 20
    assert all(high < low for (_, high), (low, _) in pairwise(limits))
