"""Minor units of currencies.

Reference: ISO 4217:2015, list one of its maintenance agency (SIX Interbank Clearing), column "minor unit", read from
the list itself, which the package iso4217 holds in the edition that its version names.
"""

import pytest
from iso4217 import raw_table

from service.domain.money import minor_from_major, minor_per_major, money_decimals, money_text
from service.errors import InvalidInputError

LIST_ONE = sorted((code, row["CcyMnrUnts"]) for code, row in raw_table.items() if code is not None)
DOES_NOT_APPLY = "N.A."
"""So the list says of metals, units of account and the codes for tests, whose amounts are written with two decimals."""


@pytest.mark.parametrize(("currency", "told"), LIST_ONE)
def test_minor_units_are_those_of_list_one(currency: str, told: str) -> None:
    decimals = 2 if told == DOES_NOT_APPLY else int(told)
    assert money_decimals(currency) == decimals
    assert minor_per_major(currency) == 10**decimals
    assert minor_from_major("/price", 12.0, currency) == 12 * 10**decimals


@pytest.mark.parametrize(
    ("minor", "currency", "told"),
    [
        (16_500, "EUR", "165.00 EUR"),
        (16_500, "JPY", "16,500 JPY"),
        (16_500, "KWD", "16.500 KWD"),
        (16_500, "CLF", "1.6500 CLF"),
    ],
)
def test_sentences_write_amounts_with_the_decimals_of_the_currency(
    minor: int, currency: str, told: str
) -> None:
    assert money_text(minor, currency) == told


@pytest.mark.parametrize(("typed", "currency"), [(10.5, "JPY"), (0.005, "USD"), (1.2345, "KWD")])
def test_an_amount_finer_than_the_smallest_unit_is_refused_and_not_rounded(
    typed: float, currency: str
) -> None:
    with pytest.raises(InvalidInputError, match="smallest unit"):
        minor_from_major("/price", typed, currency)


@pytest.mark.parametrize(
    ("typed", "currency", "minor"),
    [(19.99, "USD", 1999), (1.235, "KWD", 1235), (9_999_999.99, "EUR", 999_999_999), (0.0001, "CLF", 1)],
)
def test_typed_decimals_come_out_exact(typed: float, currency: str, minor: int) -> None:
    assert minor_from_major("/price", typed, currency) == minor
