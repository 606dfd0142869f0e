"""ASTM D1500-12(2017): glasses 0.5 to 8.0 (published); steps and the letter L from memory."""

import pytest

from service.domain.grades.colour_d1500 import REPEATABILITY, REPRODUCIBILITY, reported_colour
from service.errors import InvalidInputError


@pytest.mark.parametrize(("match", "reported"), [(2.3, "L2.5"), (2.5, "2.5"), (0.5, "0.5"), (7.6, "L8.0")])
def test_between_two_glasses_the_darker_is_reported(match: float, reported: str) -> None:
    assert reported_colour(match, is_dyed=False) == reported


def test_precision() -> None:
    assert (REPEATABILITY, REPRODUCIBILITY) == (0.5, 1.0)


def test_dyed_fluids_are_refused() -> None:
    with pytest.raises(InvalidInputError, match="not for dyed fluids"):
        reported_colour(2.5, is_dyed=True)
