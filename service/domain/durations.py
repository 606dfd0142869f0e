"""Hours out of a duration as XML Schema writes it, such as PT345H30M or P14DT9H.

W3C XML Schema Part 2: Datatypes Second Edition (2004), 3.2.6: years, months, days, and after a T hours, minutes and
seconds; each may be missing, but not all, and not all after a T; only seconds have decimals. A day has 24 hours; years
and months have no fixed length, so only none of them is a number of hours.
"""

import re
from typing import Final

from service.errors import InvalidInputError

_DURATION: Final = re.compile(
    r"P(?=[0-9T])(?:(?P<years>[0-9]{1,9})Y)?(?:(?P<months>[0-9]{1,9})M)?(?:(?P<days>[0-9]{1,9})D)?"
    r"(?:T(?=[0-9])(?:(?P<hours>[0-9]{1,9})H)?(?:(?P<minutes>[0-9]{1,9})M)?"
    r"(?:(?P<seconds>[0-9]{1,9}(?:\.[0-9]{1,12})?)S)?)?"
)


def hours_from_duration(text: str) -> float:
    """Turn a duration of no less than nothing into hours.

    Raises
    ------
    InvalidInputError
        If it is none, or counts years or months.
    """
    found = _DURATION.fullmatch(text)
    if found is None:
        raise InvalidInputError("Not a duration of 0 or more such as PT345H30M or P14DT9H.")
    part = {name: float(written or 0) for name, written in found.groupdict().items()}
    if part["years"] or part["months"]:
        raise InvalidInputError(
            "A year or a month of a duration has no fixed number of hours; days, hours, minutes and seconds have."
        )
    return part["days"] * 24 + part["hours"] + part["minutes"] / 60 + part["seconds"] / 3600
