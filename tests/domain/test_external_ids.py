"""Identifiers as the outside sees them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.external_ids import MAX_NUMBER, IdKind, format_id, looks_like_an_id, parse_id


@given(st.sampled_from(IdKind), st.integers(1, MAX_NUMBER))
def test_what_is_written_is_what_is_read(kind: IdKind, number: int) -> None:
    written = format_id(kind, number)
    assert parse_id(kind, written) == number
    assert looks_like_an_id(written)
    other = next(each for each in IdKind if each is not kind)
    assert parse_id(other, written) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "veh_",
        "veh_0",
        "veh_01",
        "veh_-1",
        "VEH_1",
        "veh_1 ",
        "veh_1\n",
        "veh_١",
        "12",
        "veh_2147483648",
    ],
)
def test_what_is_no_id_is_not_read_as_one(text: str) -> None:
    assert parse_id(IdKind.VEHICLE, text) is None


def test_readings_go_on_where_other_keys_end() -> None:
    assert parse_id(IdKind.READING, f"rdg_{2**63 - 1}") == 2**63 - 1
    assert parse_id(IdKind.READING, f"rdg_{2**63}") is None


def test_a_row_that_is_not_stored_has_no_id() -> None:
    with pytest.raises(ValueError, match="no id"):
        format_id(IdKind.VEHICLE, None)
