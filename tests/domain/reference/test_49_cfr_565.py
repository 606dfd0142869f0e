"""Check digit of 49 CFR 565.15 (published sample; an agency's outline for new manufacturers; two derived)."""

import pytest

from service.domain.vin import check_digit, vin_warning, weighted_sum


@pytest.mark.parametrize(
    ("vin", "total", "digit"),
    [
        ("1G4AH59H45G118341", 411, "4"),  # published sample of the rule
        ("1J9RP1A36A1644345", 314, "6"),  # published in an agency's outline
        ("11111111111111111", 89, "1"),  # derived
        ("1M8GDM9AXKP042788", 351, "X"),  # derived
    ],
)
def test_weighted_sum_and_digit(vin: str, total: int, digit: str) -> None:
    assert weighted_sum(vin) == total
    assert check_digit(vin) == digit
    assert vin_warning(vin) is None
