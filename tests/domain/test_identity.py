"""Identification numbers and machine frames at their edges."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.domain.machine_frames import (
    PARAMETERS,
    SignalState,
    bytes_from_hex,
    decode_frame,
    decode_j1979_odometer,
    decode_spn,
)
from service.domain.vin import check_digit, normalised_vin, vin_warning, weighted_sum
from service.errors import InvalidInputError

CHARACTERS = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
NUMBERS = st.text(CHARACTERS, min_size=17, max_size=17)


@settings(max_examples=50)
@given(NUMBERS)
def test_a_number_with_its_digit_put_in_raises_no_warning(vin: str) -> None:
    digit = check_digit(vin)
    assert digit is not None
    right = vin[:8] + digit + vin[9:]
    assert check_digit(right) == digit
    assert vin_warning(right) is None


@settings(max_examples=50)
@given(NUMBERS, st.integers(0, 16), st.sampled_from("0123456789"))
def test_one_wrong_figure_is_noticed(vin: str, position: int, figure: str) -> None:
    right = vin[:8] + str(check_digit(vin)) + vin[9:]
    wrong = right[:position] + figure + right[position + 1 :]
    total_right, total_wrong = weighted_sum(right), weighted_sum(wrong)
    assert total_right is not None
    assert total_wrong is not None
    if total_right % 11 != total_wrong % 11 or (position == 8 and wrong != right):
        assert vin_warning(wrong) is not None


@pytest.mark.parametrize(
    "vin", ["", "1G4AH59H45G11834", "IG4AH59H45G118341", "1G4AH59H45G11834Q", "1g4ah59h45g118341"]
)
def test_a_number_that_cannot_be_checked_gets_a_warning_only(vin: str) -> None:
    assert check_digit(vin) is None
    assert vin_warning(vin) is not None


def test_a_wrong_digit_names_the_right_one() -> None:
    warning = vin_warning("1G4AH59H55G118341")
    assert warning is not None
    assert "would be 4" in warning


def test_numbers_are_compared_without_spaces_and_case() -> None:
    assert normalised_vin(" 1g4ah59h4-5g118341 ") == "1G4AH59H45G118341"


@settings(max_examples=50)
@given(st.sampled_from(sorted(PARAMETERS)), st.integers(0, 0xFFFFFFFF))
def test_every_raw_number_is_a_value_in_range_or_says_why_not(spn: int, raw: int) -> None:
    parameter = PARAMETERS[spn]
    data = raw.to_bytes(4, "little")[: parameter.n_bytes]
    decoded = decode_spn(spn, data)
    assert (decoded.value is None) == (data[-1] > 0xFA)
    assert (decoded.state is SignalState.VALUE) == (data[-1] <= 0xFA)
    if decoded.value is not None:
        assert decoded.value >= parameter.offset


@pytest.mark.parametrize(("spn", "data"), [(917, b"\0\0\0"), (177, b"\0\0\0\0"), (1, b"\0")])
def test_unknown_parameters_and_wrong_lengths_are_refused(spn: int, data: bytes) -> None:
    with pytest.raises(InvalidInputError):
        decode_spn(spn, data)


def test_a_frame_has_eight_bytes() -> None:
    with pytest.raises(InvalidInputError):
        decode_frame(65217, bytes(7))


@pytest.mark.parametrize("answer", [b"", b"\x41\xa6\0\0\0", b"\x41\xa5\0\0\0\0", b"\x7f\x01\x12\0\0\0"])
def test_another_answer_is_no_odometer(answer: bytes) -> None:
    with pytest.raises(InvalidInputError):
        decode_j1979_odometer(answer)


def test_bytes_as_people_write_them() -> None:
    assert (
        bytes_from_hex("/data", "9D C2 78 01") == bytes_from_hex("/data", "9dc27801") == b"\x9d\xc2\x78\x01"
    )
    for text in ("9D C", "zz", "0x9D"):
        with pytest.raises(InvalidInputError):
            bytes_from_hex("/data", text)
