"""How numbers, dates and headings are written for one organisation."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, Literal

from service.documents.labels import ENGLISH
from service.domain.chances import chance
from service.domain.money import minor_per_major, money_decimals
from service.domain.units_of_distance import DistanceUnit
from service.units import (
    LITRES_PER_IMPERIAL_GALLON,
    LITRES_PER_US_GALLON,
    LITRES_PER_US_QUART,
)

VolumeUnit = Literal["L", "US gal", "US qt", "imp gal"]
DateStyle = Literal["iso", "day first", "day first, points", "day first, dashes", "month first"]

_LITRES_PER: Final[Mapping[VolumeUnit, float]] = {
    "L": 1.0,
    "US gal": LITRES_PER_US_GALLON,
    "US qt": LITRES_PER_US_QUART,
    "imp gal": LITRES_PER_IMPERIAL_GALLON,
}
_DATE_FORMATS: Final[Mapping[DateStyle, str]] = {
    "iso": "%Y-%m-%d",
    "day first": "%d/%m/%Y",
    "day first, points": "%d.%m.%Y",
    "day first, dashes": "%d-%m-%Y",
    "month first": "%m/%d/%Y",
}
_NARROW_SPACE: Final = "\u202f"
_EXACT: Final = 1e-6
"""Of a unit: what floating point leaves of a round number."""

_DATE: Final = re.compile(r"(?<![\w-])(\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])(?![\w-])")
_TYPED_DAY: Final = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4})", re.ASCII)
_GROUPED: Final = re.compile(r"(?<![\w.,])\d{1,3}(?:,\d{3})+(?![\w,])")
_DECIMAL: Final = re.compile(r"(?<![\w.,])(\d+)\.(\d+)(?=\s?(?:%|°C|L|km|mi|N·m)(?!\w))")
_LITRES: Final = re.compile(r"“[^”]*”|(?<![\w.,])(\d[\d,]*)(\.\d+)? (?:L|litres?)(?!\w)")
"""Or a name in quotation marks, which may hold anything."""

_PER_CENT: Final = re.compile(r"(?<=\d) ?%")
_BOUND: Final = re.compile(r"(?<=[<>]) (?=\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Presentation:
    """The organisation's units, number and date style, paper and words."""

    language: str = "en"
    """BCP 47 primary language, for screen readers and hyphenation."""
    labels: Mapping[str, str] = field(default_factory=lambda: ENGLISH)
    volume_unit: VolumeUnit = "L"
    distance_unit: DistanceUnit = DistanceUnit.KM
    decimal_mark: Literal[".", ","] = "."
    date_style: DateStyle = "iso"
    paper: Literal["a4", "us-letter"] = "a4"

    def number(self, value: float, n_decimals: int = 0) -> str:
        """Write a number with narrow spaces between thousands (ISO 80000-1 section 7.3)."""
        shown = round(value, n_decimals) + 0.0  # no minus before a zero
        text = f"{shown:,.{n_decimals}f}".replace(",", _NARROW_SPACE)
        return text.replace(".", self.decimal_mark).replace("-", "\u2212")

    def volume(self, litres: float | None, n_decimals: int | None = None) -> str:
        """Write a volume in the organisation's unit; an unknown one as a dash.

        One decimal is what a can can be read to; two below one unit, as brake fluid is measured.
        """
        if litres is None:
            return "–"
        value = self.volume_value(litres)
        usual = 2 if 0.0 < abs(value) < 0.95 else 1
        return f"{self.number(value, usual if n_decimals is None else n_decimals)}\u00a0{self.volume_unit}"

    def pack_size(self, litres: float) -> str:
        """Write what a pack holds, with as many decimals as it is sold by: 208 L, 0.25 L."""
        value = self.volume_value(litres)
        return self.volume(
            litres, next((n for n in (0, 1, 2) if abs(value - round(value, n)) < _EXACT), None)
        )

    def volume_value(self, litres: float) -> float:
        """Give a volume as a number in the organisation's unit."""
        return litres / _LITRES_PER[self.volume_unit]

    def distance(self, km: float | None) -> str:
        """Write a distance in the organisation's unit; an unknown one as a dash."""
        if km is None:
            return "–"
        return f"{self.number(self.distance_value(km))}\u00a0{self.distance_unit}"

    def distance_value(self, km: float) -> float:
        """Give a distance as a number in the organisation's unit."""
        return self.distance_unit.of_km(km)

    def working_time(self, minutes: float) -> str:
        """Write how long work takes; from two hours on in hours and minutes."""
        hours, rest = divmod(round(minutes), 60)
        if hours < 2:
            return f"{self.number(60 * hours + rest)}\u00a0{self.labels['minutes']}"
        whole = f"{self.number(hours)}\u00a0{self.labels['hours_of_work']}"
        return f"{whole}\u00a0{rest}\u00a0{self.labels['minutes']}" if rest else whole

    def celsius(self, celsius: float | None) -> str:
        """Write a temperature; an unknown one as a dash."""
        return "–" if celsius is None else f"{self.number(celsius)}\u00a0°C"

    def percent(self, fraction: float | None) -> str:
        """Write a fraction as per cent; an unknown one as a dash."""
        return "–" if fraction is None else f"{self.number(100.0 * fraction)}\u00a0%"

    def chance(self, probability: float) -> str:
        """Write a probability in whole per cent."""
        return self.sentence(chance(probability))

    def sentence(self, text: str) -> str:
        """Give the dates, litres and numbers within a sentence of ours the organisation's form.

        Rules write sentences down as ISO dates, in litres and with the marks of English; this is where they are
        shown. Distances are in the organisation's unit already, in which they are rounded.
        """
        text = _DATE.sub(self._dated, text)
        if self.volume_unit != "L":
            text = _LITRES.sub(self._in_own_unit, text)
        text = _GROUPED.sub(lambda found: found[0].replace(",", _NARROW_SPACE), text)
        text = _DECIMAL.sub(rf"\1{self.decimal_mark}\2", text)
        return _BOUND.sub("\u00a0", _PER_CENT.sub("\u00a0%", text))

    def _in_own_unit(self, found: re.Match[str]) -> str:
        whole, rest = found[1], found[2] or ""
        if whole is None:
            return found[0]
        return self.volume(float(whole.replace(",", "") + rest), max(len(rest) - 1, 1))

    def _dated(self, found: re.Match[str]) -> str:
        try:
            return self.day(date.fromisoformat(found[0]))
        except ValueError:
            return found[0]

    def day(self, day: date | None) -> str:
        """Write a date; an unknown one as a dash."""
        return "–" if day is None else day.strftime(_DATE_FORMATS[self.date_style])

    def typed_day(self, text: str) -> date:
        """Read a date as it is written here, or as ISO 8601.

        Raises
        ------
        ValueError
            If it is neither, or no day of the calendar.
        """
        found = _TYPED_DAY.fullmatch(text.strip())
        if found is None or self.date_style == "iso":
            return date.fromisoformat(text.strip())
        first, second, year = (int(part) for part in found.groups())
        day, month = (second, first) if self.date_style == "month first" else (first, second)
        return date(year, month, day)

    def weekday(self, day: date) -> str:
        """Name the day of the week."""
        return self.labels[f"weekday_{day.isoweekday()}"]

    def moment(self, moment: datetime) -> str:
        """Write a date and time with the offset it carries, e.g. 2026-05-08 06:00 +02:00."""
        return f"{self.day(moment.date())} {moment:%H:%M} {moment.isoformat()[-6:]}"

    def wall_time(self, moment: datetime) -> str:
        """Write a date and time for people who share the clock it is in, without its offset."""
        return f"{self.day(moment.date())} {moment:%H:%M}"

    def money(self, minor: float | None, currency: str) -> str:
        """Write an amount given in the currency's smallest unit, without its code; an unknown one as a dash."""
        if minor is None:
            return "–"
        return self.number(minor / minor_per_major(currency), money_decimals(currency))
