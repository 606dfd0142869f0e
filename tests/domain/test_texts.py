"""Text that people type."""

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.texts import clean_line, clean_note, clean_vehicle_reference
from service.errors import InvalidInputError


@pytest.mark.parametrize(
    "text",
    [
        "a\0b",
        "a\nb",
        "a\tb",
        "a\x1b[31m",
        "a\x7f",
        "a\x85b",
        "\ud800",
        "a\u202eb",
        "a\u2066b",
        "a\u2028b",
        "",
        "   ",
        "x" * 121,
        "x" * 1_000_000,
    ],
)
def test_a_line_has_nothing_that_controls_hides_or_overflows(text: str) -> None:
    with pytest.raises(InvalidInputError) as caught:
        clean_line("/name", text)
    assert caught.value.errors[0].pointer == "/name"
    caught.value.errors[0].detail.encode()


@pytest.mark.parametrize(
    "text",
    [
        "\u200b",
        "\ufeff\u00ad",
        "\u3164",
        " \u2800\u200d ",
        "\u115f\u1160",
        "\uffa0",
        "\u034f",
        "\ufe0f",
        "\ufe00\u180b",
        "\u180f",
        "\U000e0100",
        "\U000e01ef",
        "\u2065\ufff8",
    ],
)
def test_a_line_shows_something(text: str) -> None:
    """Letters and marks that are drawn as nothing (Unicode, Default_Ignorable_Code_Point), and empty Braille."""
    with pytest.raises(InvalidInputError):
        clean_line("/name", text)


@pytest.mark.parametrize("text", ["a\uffff", "\ufffe", "a\ufdd0b", "\U0010ffff"])
def test_no_text_has_what_is_no_character(text: str) -> None:
    """Unicode 23.7: noncharacters are not for interchange; XML 1.0, and with it a workbook, cannot hold two of them."""
    with pytest.raises(InvalidInputError):
        clean_line("/name", text)
    with pytest.raises(InvalidInputError):
        clean_note("/note", text)


def test_joined_signs_and_marks_of_direction_are_kept() -> None:
    for text in ("\U0001f468\u200d\U0001f527", "\u2764\ufe0f 7", "\u0645\u06cc\u200c\u0631", "\u05d0\u200e7"):
        assert clean_line("/name", text) == text


def test_a_line_is_composed_and_trimmed() -> None:
    assert clean_line("/name", "  Cafe\u0301 depot ") == "Caf\u00e9 depot"


def test_a_composed_form_counts_as_one_character() -> None:
    assert len(clean_line("/name", "e\u0301" * 120)) == 120


def test_markup_and_formulas_are_text_like_any_other() -> None:
    for text in ("<b>bold</b>", "=1+1", "O'Hara; DROP TABLE", "{{ 7 * 7 }}", "車両７号", "🚌 12"):
        assert clean_line("/name", text) == unicodedata.normalize("NFC", text)


def test_notes_keep_line_feeds_and_tabs_and_may_be_empty() -> None:
    assert clean_note("/note", "first\r\nsecond\tthird\n") == "first\nsecond\tthird"
    assert clean_note("/note", "") == ""


@pytest.mark.parametrize("text", ["a\rb", "a\0", "\ud800", "\u202e", "x" * 4_001, "x" * 20_000])
def test_notes_refuse_the_rest(text: str) -> None:
    with pytest.raises(InvalidInputError):
        clean_note("/note", text)


@pytest.mark.parametrize(
    "text",
    ["VAN-07", "12 AB 345", "Bus 3", "veh_", "veh_x", "VEHICLE_1", "x" * 40, "№ 5", "1.2", "PINS", "new 1"],
)
def test_vehicle_numbers_of_a_fleet(text: str) -> None:
    assert clean_vehicle_reference("/vehicle", text) == text


@pytest.mark.parametrize(
    "text",
    [
        "veh_123",
        "veh_1",
        "x" * 41,
        "",
        "a/b",
        "a\\b",
        ".",
        "..",
        "pins",
        "new",
        "VAN\u200b07",
        "VAN\u200f07",
        "VAN\ufe0f07",
        "VAN-07\u3164",
        "VAN-07\U000e0100",
    ],
)
def test_vehicle_numbers_that_an_address_or_an_id_could_be_mistaken_for(text: str) -> None:
    with pytest.raises(InvalidInputError):
        clean_vehicle_reference("/vehicle", text)


@settings(max_examples=50)
@given(st.text(st.characters(codec=None), max_size=200))
def test_whatever_passes_is_clean_and_passes_unchanged_again(text: str) -> None:
    try:
        cleaned = clean_line("/name", text)
    except InvalidInputError:
        return
    assert 1 <= len(cleaned) <= 120
    assert cleaned == unicodedata.normalize("NFC", cleaned).strip()
    cleaned.encode("utf-8")
    assert not any(unicodedata.category(character) in {"Cc", "Cs"} for character in cleaned)
    assert clean_line("/name", cleaned) == cleaned
