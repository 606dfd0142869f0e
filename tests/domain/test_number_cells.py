"""Numbers in CSV cells, read without guessing."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.number_cells import DecimalMark, decimal_mark_of, number_from_cell
from service.errors import InvalidInputError

POINT, COMMA = DecimalMark.POINT, DecimalMark.COMMA


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("84210.4", POINT, 84210.4),
        ("84210,4", COMMA, 84210.4),
        (" 12 ", POINT, 12.0),
        ("-3", POINT, -3.0),
        ("+0,5", COMMA, 0.5),
        ("007", POINT, 7.0),
    ],
)
def test_plain_numbers(text: str, mark: DecimalMark, value: float) -> None:
    assert number_from_cell("odometer", text, mark) == value


@pytest.mark.parametrize(
    "text",
    [
        *("1.234,5", "1,234.5", "1_000", "1e3", "nan", "inf", "Infinity", "٣", "", " ", "12 km", "1 234"),
        *("0x10", ".5", "5.", "--1", "1" * 16, "12\n"),
    ],
)
def test_everything_else_is_refused_in_either_notation(text: str) -> None:
    for mark in DecimalMark:
        with pytest.raises(InvalidInputError) as caught:
            number_from_cell("odometer", text, mark)
        assert caught.value.errors[0].pointer == "odometer"


def test_the_other_notation_is_refused() -> None:
    with pytest.raises(InvalidInputError):
        number_from_cell("odometer", "84210,4", POINT)
    with pytest.raises(InvalidInputError):
        number_from_cell("odometer", "84210.4", COMMA)


@pytest.mark.parametrize(
    ("cells", "mark"),
    [
        (["84210.4", "12"], POINT),
        (["84210,4", "12", "1,234"], COMMA),
        (["0,123"], COMMA),
        (["12345.678"], POINT),
        (["12", "13"], POINT),
        ([], POINT),
        (["abc", "12.5"], POINT),
    ],
)
def test_the_mark_of_a_file_is_found_where_it_cannot_separate_thousands(
    cells: list[str], mark: DecimalMark
) -> None:
    assert decimal_mark_of(cells) is mark


@pytest.mark.parametrize("cells", [["1,234"], ["1.234", "12"], ["12.5", "12,5"]])
def test_a_file_that_could_be_read_two_ways_is_not_guessed(cells: list[str]) -> None:
    with pytest.raises(InvalidInputError, match="decimal mark"):
        decimal_mark_of(cells)


@settings(max_examples=50)
@given(st.decimals(min_value=-(10**9), max_value=10**9, places=3), st.sampled_from(DecimalMark))
def test_what_is_written_is_what_is_read(number: object, mark: DecimalMark) -> None:
    assert number_from_cell("cell", str(number).replace(".", mark.value), mark) == float(str(number))
