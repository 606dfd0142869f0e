"""What the fields are called that were typed before signing in again."""

import re
from typing import Final

from service.domain.service_work import STEP_TEXTS, ServiceStep
from service.web.catalogue import ENGLISH, tell, translate

_PARTS: Final = re.compile(r"(?:([a-z]{3}_\d+)-)?([a-z_]+)(?:-(\d+))?")
"""Which thing, which field, which round; the fields of several things stand in one form."""


def kept_label(name: str) -> str:
    """Name a field as its page does, with its round and what it belongs to; one without a name by its own."""
    parts = _PARTS.fullmatch(name)
    if parts is None:
        return name.replace("_", " ")
    thing, field, number = parts.groups()
    return " ".join(filter(None, (_word(field), number, thing and f"({thing})")))


def _word(field: str) -> str:
    step = field.removeprefix("step_")
    if field != step and step in set(ServiceStep):
        return tell(STEP_TEXTS[ServiceStep(step)].label)
    return translate(f"kept_{field}") if f"kept_{field}" in ENGLISH else field.replace("_", " ")
