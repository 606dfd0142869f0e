"""Text that people type: bounded, normalised, and free of characters that hide or reorder what is read."""

import unicodedata
from typing import Final

from service.domain.external_ids import looks_like_an_id
from service.errors import InvalidInputError

VEHICLE_REFERENCE_CHARACTERS: Final = 40
NAME_CHARACTERS: Final = 120
NOTE_CHARACTERS: Final = 4_000
WORDS_OF_ADDRESSES: Final = frozenset({"new", "pins"})
"""Stand in addresses where a vehicle's number would; one of them would lead elsewhere."""

_BIDI_CONTROLS: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_LINE_SEPARATORS: Final = frozenset("\u2028\u2029")
_NOTE_CONTROLS: Final = frozenset("\n\t")
_UNSEEN: Final = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2065\u2800\u3164\uffa0").union(
    *(map(chr, codes) for codes in (range(0x180B, 0x1810), range(0xFE00, 0xFE10), range(0xFFF0, 0xFFF9))),
    map(chr, range(0xE0000, 0xE1000)),
)
"""Drawn as nothing, beside the category of formats: Unicode's Default_Ignorable_Code_Point, and empty Braille."""

_LONGEST_COMPOSITION: Final = 4
"""How many characters may compose into one; a bound on work before normalising, not a rule of its own."""


def clean_line(pointer: str, value: str, *, maximum: int = NAME_CHARACTERS) -> str:
    """Give one line of text in Unicode form NFC without outer spaces, or refuse it."""
    return _clean(pointer, value, maximum=maximum, minimum=1, allowed_controls=frozenset())


def clean_note(pointer: str, value: str) -> str:
    """Give a note in form NFC, in which line feeds and tabs may stand, or refuse it."""
    is_bounded = len(value) <= NOTE_CHARACTERS * _LONGEST_COMPOSITION
    unified = value.replace("\r\n", "\n") if is_bounded else value
    return _clean(pointer, unified, maximum=NOTE_CHARACTERS, minimum=0, allowed_controls=_NOTE_CONTROLS)


def clean_vehicle_reference(pointer: str, value: str) -> str:
    """Give the fleet's own number of a vehicle, or refuse one that could not stand in an address."""
    reference = clean_line(pointer, value, maximum=VEHICLE_REFERENCE_CHARACTERS)
    if any(map(_is_unseen, reference)):
        raise InvalidInputError.at(pointer, "Must not contain invisible characters.")
    if looks_like_an_id(reference):
        raise InvalidInputError.at(
            pointer, "Looks like one of this service's own ids; choose another number."
        )
    if "/" in reference or "\\" in reference or not reference.strip("."):
        raise InvalidInputError.at(
            pointer, "Must not contain a slash or consist of dots: it stands in addresses."
        )
    if reference in WORDS_OF_ADDRESSES:
        raise InvalidInputError.at(
            pointer, f"“{reference}” is a word of this service's addresses; choose another number."
        )
    return reference


def _clean(pointer: str, value: str, *, maximum: int, minimum: int, allowed_controls: frozenset[str]) -> str:
    if len(value) > maximum * _LONGEST_COMPOSITION:
        raise InvalidInputError.at(pointer, f"Must have at most {maximum:,} characters.")
    for character in value:
        if _is_forbidden(character) and character not in allowed_controls:
            raise InvalidInputError.at(
                pointer,
                f"Must not contain the character U+{ord(character):04X}, which controls or hides text.",
            )
    cleaned = unicodedata.normalize("NFC", value).strip()
    if not minimum <= len(cleaned) <= maximum:
        raise InvalidInputError.at(pointer, f"Must have {minimum:,} to {maximum:,} characters.")
    if minimum and not cleaned.isascii() and all(map(_is_blank, cleaned)):
        raise InvalidInputError.at(pointer, "Must have a character that can be seen.")
    return cleaned


def _is_blank(character: str) -> bool:
    return _is_unseen(character) or unicodedata.category(character) == "Zs"


def _is_unseen(character: str) -> bool:
    return character in _UNSEEN or unicodedata.category(character) == "Cf"


def _is_forbidden(character: str) -> bool:
    return (
        unicodedata.category(character) in {"Cc", "Cs"}
        or character in _BIDI_CONTROLS
        or character in _LINE_SEPARATORS
        or _is_no_character(ord(character))
    )


def _is_no_character(code: int) -> bool:
    """Code points that Unicode keeps for no character at all; XML cannot hold some of them."""
    return code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF
