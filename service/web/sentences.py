"""Sentences that rules and use cases write, in the language of the page.

Every English sentence stands once, where its rule is, and is its own key, with what varies in it as `{…}`. A
translation maps these keys to sentences of another language; one without a translation is shown as it is.
"""

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

_HOLE: Final = re.compile(r"\{[^{}]*\}")
_VALUE: Final = r"((?:(?![.!?] [A-Z]).)*?)"
"""What varies is never more than one sentence."""

_LONGEST: Final = 4_000


def tell_in(translation: Mapping[str, str], text: str) -> str:
    """Say a sentence, or several in a row, by a translation."""
    if not translation or not text or len(text) > _LONGEST:
        return text
    whole = translation.get(text)
    return whole if whole is not None else _told(tuple(translation.items()), text) or text


def _told(pairs: tuple[tuple[str, str], ...], text: str) -> str | None:
    """Say a text by templates: one for all of it, or one for its beginning and others for the rest."""
    patterns = _patterns(pairs)
    for pattern, told in patterns:
        found = pattern.fullmatch(text)
        if found is not None:
            return _filled(told, found.groups())
    for end in [place.end() for place in re.finditer(r"[.:!?] ", text)]:
        first, rest = text[: end - 1], text[end:]
        for pattern, told in patterns:
            found = pattern.fullmatch(first)
            after = _told(pairs, rest) if found is not None else None
            if found is not None and after is not None:
                return f"{_filled(told, found.groups())} {after}"
    return None


@lru_cache(maxsize=8)
def _patterns(pairs: tuple[tuple[str, str], ...]) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Templates as patterns, those with the most words of their own first."""
    ordered = sorted(pairs, key=lambda pair: len(_HOLE.sub("", pair[0])), reverse=True)
    return tuple((_pattern(template), told) for template, told in ordered)


def _pattern(template: str) -> re.Pattern[str]:
    parts = [re.escape(part) for part in _HOLE.split(template)]
    return re.compile(_VALUE.join(parts), re.DOTALL)


def _filled(told: str, values: tuple[str, ...]) -> str:
    """Put the values into their places, which a translation may name in another order: {0}, {1}."""
    return re.sub(r"\{(\d+)\}", lambda hole: values[int(hole[1])] if int(hole[1]) < len(values) else "", told)
