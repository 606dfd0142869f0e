"""Texts that a spreadsheet could run; the list of dangerous starts is OWASP's page "CSV Injection"."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.documents.text import FORMULA_STARTS, clean_text, looks_like_formula, one_line, spreadsheet_text

ATTACKS = (
    '=HYPERLINK("http://x.example","pay")',
    "+1+1",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+1)",
    "\t=1+1",
    "\r=1+1",
    "＝1+1",
    "＋1",
    "－1",
    "＠SUM(A1)",
    "  =1+1",
    "\ufeff=1+1",
    "\n=1",
)


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_text_that_could_run_is_led_by_an_apostrophe(attack: str) -> None:
    assert looks_like_formula(attack)
    assert spreadsheet_text(attack).startswith("'")


@pytest.mark.parametrize("harmless", ["VAN-07", "007", "5 = five", "", "'quoted", "Привет", "油"])
def test_a_harmless_text_stays_as_it_is(harmless: str) -> None:
    assert spreadsheet_text(harmless) == harmless


@settings(max_examples=50)
@given(st.text())
def test_no_written_text_ever_starts_a_formula(text: str) -> None:
    assert spreadsheet_text(text)[:1] not in FORMULA_STARTS


@settings(max_examples=50)
@given(st.text(alphabet=st.characters(exclude_categories=())))
def test_cleaned_text_can_always_be_encoded_and_has_no_controls(text: str) -> None:
    cleaned = clean_text(text)
    cleaned.encode("utf-8")
    assert not any(ord(c) < 32 and c not in "\n\t" for c in cleaned)


def test_one_line_has_no_line_break() -> None:
    assert one_line(" a\r\nb\u2028c ") == "a b\ufffdc"
