"""ISO 4406 scale numbers, as two filter-trade pages print the table (published)."""

import pytest

from service.domain.grades.iso_4406 import cleanliness, code_for


# Derived from the printed table; a formula with powers of two would give 8 for 1.29 and 18 for 2501.
@pytest.mark.parametrize(
    ("particles_per_ml", "code"),
    [
        (0.0, 0),
        (0.01, 0),
        (1.29, 7),
        (1.3, 7),
        (2.5, 8),
        (2.51, 9),
        (20, 11),
        (21, 12),
        (641, 17),
        (1300, 17),
        (1301, 18),
        (2501, 19),
        (130_000, 24),
        (2_500_000, 28),
    ],
)
def test_codes_follow_the_printed_table(particles_per_ml: float, code: int) -> None:
    assert code_for(particles_per_ml) == str(code)


def test_above_the_scale() -> None:
    assert code_for(2_500_001) == ">28"


def test_three_part_codes() -> None:
    assert cleanliness(1100, 250, 35) == "17/15/12"
    assert cleanliness(151_773, 38_363, 8_229) == "24/22/20"
