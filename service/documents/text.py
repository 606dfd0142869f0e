"""Text from people, made fit to be written into a file."""

import re
from typing import Final

FORMULA_STARTS: Final = frozenset("=+-@\t\r\n＝＋－＠")
"""What a spreadsheet may take for the start of a formula (OWASP, "CSV Injection"), and full-width forms."""

_UNWRITABLE: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufffe\uffff\ud800-\udfff]"
)
"""Controls, direction overrides, non-characters, lone surrogates: no file format wants them."""

_BLANKS: Final = re.compile(r"[ \t\n]+")
"""Not the spaces that hold a number and its unit together."""


def clean_text(text: str) -> str:
    """Return the text with line breaks unified and everything that cannot be written replaced by U+FFFD."""
    return _UNWRITABLE.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def one_line(text: str) -> str:
    """Return the text cleaned and on one line."""
    return _BLANKS.sub(" ", clean_text(text)).strip(" ")


def looks_like_formula(text: str) -> bool:
    """Say whether a spreadsheet could run this cell, also after it trims blanks and invisible marks."""
    return text[:1] in FORMULA_STARTS or text.lstrip(" \u00a0\u3000\u200b\ufeff")[:1] in FORMULA_STARTS


def spreadsheet_text(text: str) -> str:
    """Return the text with an apostrophe in front where a spreadsheet could take it for a formula."""
    cleaned = clean_text(text)
    return f"'{cleaned}" if looks_like_formula(text) or looks_like_formula(cleaned) else cleaned
