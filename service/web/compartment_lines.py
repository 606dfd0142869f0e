"""What stands one a line in the form of a compartment: parts used once, and hours at each temperature."""

import re
from typing import Any, Final

from service.domain import plausibility
from service.domain.number_cells import may_be_thousands
from service.errors import InvalidInputError
from service.usecases.fleet.register_compartments import MOST_SEALS
from service.usecases.fluids.own_ageing import MOST_TEMPERATURES
from service.web.forms import FormReader

_PART: Final = re.compile(r"(?:(\d{1,3})\s*[x×*]?\s+)?(\S.*)")
_NUMBER: Final = r"([+-]?[0-9]{1,6}(?:[.,][0-9]{1,3})?)"
_TEMPERATURE: Final = re.compile(rf"{_NUMBER}\s*(?:°?\s*C)?[\s:;=]+{_NUMBER}\s*h?", re.ASCII | re.IGNORECASE)


def seals_of(reader: FormReader) -> list[dict[str, Any]]:
    """Read parts such as `2 × drain plug washer`."""
    seals = []
    for line in _lines(reader, "seals", MOST_SEALS):
        found = _PART.fullmatch(line)
        pieces = 1 if found is None or found[1] is None else int(found[1])
        part = line if found is None else found[2]
        if not 1 <= pieces <= 100 or len(part) > 40:
            reader.refuse("seals", f"{line[:40]}: write a line such as 2 × drain plug washer.")
        seals.append({"part": part, "pieces": pieces})
    return seals


def temperatures_of(reader: FormReader) -> list[dict[str, float]]:
    """Read temperatures such as `95 °C 250 h`."""
    logged = []
    for line in _lines(reader, "oil_temperatures", MOST_TEMPERATURES):
        found = _TEMPERATURE.fullmatch(line)
        if found is None or may_be_thousands(found[2]):
            reader.refuse(
                "oil_temperatures", f"{line[:40]}: write a line such as 95 °C 250 h or 95 °C 1250 h."
            )
            continue
        celsius, hours = (float(number.replace(",", ".")) for number in found.groups())
        try:
            plausibility.FLUID_CELSIUS.check("/oil_temperatures", celsius)
            plausibility.ENGINE_HOURS.check("/oil_temperatures", hours)
        except InvalidInputError as error:
            reader.errors.extend(error.errors)
        logged.append({"celsius": celsius, "hours": hours})
    return logged


def _lines(reader: FormReader, name: str, most: int) -> list[str]:
    lines = [line.strip() for line in reader.posted.text(name).splitlines() if line.strip()]
    if len(lines) > most:
        reader.refuse(name, f"At most {most} lines.")
    return lines[:most]
