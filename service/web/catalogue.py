"""Every word that the pages show; a translation is another mapping with the same keys."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.web.charts import labels
from service.web.sentences import tell_in
from service.web.words import (
    accuracy,
    days,
    drivers,
    frame,
    jobs,
    machines,
    records,
    register,
    samples,
    settings,
    stock,
    vehicles,
    week,
)

_CHARTS: Final = "chart_"

ENGLISH: Final[Mapping[str, str]] = MappingProxyType(
    {
        **frame.WORDS,
        **week.WORDS,
        **vehicles.WORDS,
        **drivers.WORDS,
        **register.WORDS,
        **samples.WORDS,
        **records.WORDS,
        **days.WORDS,
        **stock.WORDS,
        **jobs.WORDS,
        **settings.WORDS,
        **machines.WORDS,
        **accuracy.WORDS,
        **{f"{_CHARTS}{key}": text for key, text in labels.ENGLISH.items()},
    }
)


SENTENCES: Final[Mapping[str, str]] = MappingProxyType({})
"""Translations of the sentences that rules write; none, because those are English already."""


def translate(key: str, **values: object) -> str:
    """Words for a key, with values filled in; escaping is left to the template."""
    text = ENGLISH[key]
    return text.format(**values) if values else text


def chart_words() -> dict[str, str]:
    """Words in and about charts, by the names that the charts know them by."""
    return {key.removeprefix(_CHARTS): text for key, text in ENGLISH.items() if key.startswith(_CHARTS)}


def tell(sentence: str) -> str:
    """Say what a rule or a use case says, in the language of the page."""
    return tell_in(SENTENCES, sentence)
