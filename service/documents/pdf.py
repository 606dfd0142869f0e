"""Typesetting: a layout of ours and a dictionary of finished texts become a tagged PDF (PDF/UA-1)."""

import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

import typst

from service.documents.text import clean_text
from service.errors import EngineError

LAYOUTS: Final = Path(__file__).parent / "templates"

_MISSING: Final = re.compile(r"the text `\"(.*?)\"` could not be displayed")
_ESCAPE: Final = re.compile(r"\\u\{([0-9a-f]+)\}")

_REMEMBERED: Final = 10
"""For how many further documents the typesetter keeps what it worked out for one (seen in its behaviour)."""

Json = str | int | float | bool | None | Sequence["Json"] | Mapping[str, "Json"]


@cache
def _fonts() -> typst.Fonts:
    """Read the fonts once: those inside the typesetter come first, the machine's fill the gaps."""
    return typst.Fonts(include_system_fonts=True, include_embedded_fonts=True)


@cache
def _no_fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False)


def render_pdf(layout: str, data: Mapping[str, Json]) -> bytes:
    """Typeset `data` with the named layout.

    The data travel as JSON beside the layout and are never part of its markup, so no text can act as markup.
    A character that no font of this machine has is printed as its number, e.g. [U+8F66]: an empty box would
    make two vehicles look alike on paper.
    """
    texts = json.dumps(_cleaned(data), ensure_ascii=False)
    try:
        return _render(layout, texts)
    finally:
        _forget()


def _render(layout: str, texts: str) -> bytes:
    try:
        return _compile(layout, texts)
    except typst.TypstError as error:
        missing = _missing_characters(error.diagnostic)
        if not missing:
            raise EngineError(f"The document could not be typeset: {error.message}") from error
    numbered = texts.translate({ord(character): _numbered(character) for character in missing})
    try:
        return _compile(layout, numbered)
    except typst.TypstError as error:
        raise EngineError(f"The document could not be typeset: {error.message}") from error


def _compile(layout: str, texts: str) -> bytes:
    compiler = typst.Compiler(LAYOUTS / f"{layout}.typ", root=LAYOUTS, font_paths=_fonts())
    content = compiler.compile(format="pdf", sys_inputs={"data": texts}, pdf_standards="ua-1")
    if not isinstance(content, bytes):
        raise EngineError("The typesetter gave no document.")
    return content


def _forget() -> None:
    """Set empty documents until the typesetter has dropped this one, about 60 MB for a list of 300 lines."""
    compiler = typst.Compiler(LAYOUTS / "nothing.typ", root=LAYOUTS, font_paths=_no_fonts())
    for _ in range(_REMEMBERED + 1):
        compiler.compile(format="svg")


def _missing_characters(diagnostic: str) -> set[str]:
    """Characters that no font has; a mark is told with the letter below it, which every font has if it is ASCII."""
    found: set[str] = set()
    for text in _MISSING.findall(diagnostic):
        found.update(_ESCAPE.sub(lambda match: chr(int(match.group(1), 16)), text))
    return {character for character in found if not character.isascii()}


def _numbered(character: str) -> str:
    is_invisible = unicodedata.category(character) in {"Cf", "Mn"}
    return "" if is_invisible else f"[U+{ord(character):04X}]"


def _cleaned(value: Any) -> Json:
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, Mapping):
        return {key: _cleaned(inner) for key, inner in value.items()}
    if isinstance(value, Sequence):
        return [_cleaned(inner) for inner in value]
    return value  # type: ignore[no-any-return]  # a number, a truth value or null, which JSON takes as they are
