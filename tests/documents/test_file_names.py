"""File names and the header of RFC 6266."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.documents.file_names import attachment_name, content_disposition


def test_name_carries_kind_and_week() -> None:
    assert (
        attachment_name("due-list", "2026-W20", "Nörthgate", suffix="pdf")
        == "due-list-2026-W20-Northgate.pdf"
    )


@settings(max_examples=50)
@given(st.text(max_size=300), st.text(max_size=10))
def test_no_name_holds_a_path_or_a_control(part: str, suffix: str) -> None:
    name = attachment_name(part, suffix=suffix)
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.")
    assert name.count(".") == 1
    assert not name.startswith(".")


def test_a_plain_name_needs_no_second_form() -> None:
    assert content_disposition("due-list-2026-W20.pdf") == 'attachment; filename="due-list-2026-W20.pdf"'


def test_another_script_is_given_in_the_extended_form() -> None:
    """RFC 6266 section 5 with RFC 8187's worked example: the euro sign is %e2%82%ac."""
    assert content_disposition("€ rates.csv").lower().endswith("filename*=utf-8''%e2%82%ac%20rates.csv")


@pytest.mark.parametrize("name", ["a\r\nSet-Cookie: x", '../../etc/"passwd"', "..\\x", "\ud800"])
def test_a_header_cannot_be_split_or_left(name: str) -> None:
    header = content_disposition(name)
    assert "\r" not in header
    assert "\n" not in header
    assert header.count('"') == 2
    assert "/" not in header
    header.encode("ascii")
