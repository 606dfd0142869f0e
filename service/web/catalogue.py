"""Every word that the pages show; a translation is another mapping with the same keys."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from service.web.words import (
    accuracy,
    days,
    drivers,
    frame,
    jobs,
    register,
    samples,
    settings,
    stock,
    vehicles,
    week,
)

ENGLISH: Final[Mapping[str, str]] = MappingProxyType(
    {
        **frame.WORDS,
        **week.WORDS,
        **vehicles.WORDS,
        **drivers.WORDS,
        **register.WORDS,
        **samples.WORDS,
        **days.WORDS,
        **stock.WORDS,
        **jobs.WORDS,
        **settings.WORDS,
        **accuracy.WORDS,
    }
)


def translate(key: str, **values: object) -> str:
    """Words for a key, with values filled in; escaping is left to the template."""
    text = ENGLISH[key]
    return text.format(**values) if values else text
