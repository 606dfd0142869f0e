"""The yearly season and the week a fleet shares, as a clock that runs faster in busy months and on busy days."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from service.engine.arrays import Floats, Integers
from service.engine.usage.ragged import check_readings, of_vehicles
from service.engine.usage.robust import ITERATIONS, shrunk_fit
from service.engine.usage.week import EVEN_WEEK, days_by_week, days_of_calendar, fit_week

Coefficient: TypeAlias = float | Floats

# Mean Gregorian year is 365.2425 d (exact); a quarter of an hour a year does not matter here.
YEAR_DAYS: Final = 365.2425
HARMONICS: Final = (1.0, 2.0)
# Common practice, no source: what a season needs before it is believed. Less than two years may be a trend.
LEAST_VEHICLES: Final = 20
LEAST_SPAN_DAYS: Final = 730.0
# Chosen on simulated fleets laid up in winter, which were forecast 5 to 7 % better than with 0.6. Below one the clock
# never stands still and can be read backwards.
LARGEST_SWING: Final = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """Relative rate ``1 + sum a_h sin(w_h t) + b_h cos(w_h t)``, w_h = 2 pi h / year, t in days of the epoch.

    It is multiplied with the factor of the day of the week, counted from the epoch's first day. The coefficients
    are numbers, or arrays of shape (n,): a season for each vehicle. Times broadcast against them.
    """

    sine: tuple[Coefficient, ...]
    cosine: tuple[Coefficient, ...]
    weekday_factor: tuple[Coefficient, ...] = EVEN_WEEK

    @property
    def is_flat(self) -> bool:
        """Whether all months and days are alike, so that both clocks agree."""
        return self.has_even_year and self.has_even_week

    @property
    def has_even_year(self) -> bool:
        """Whether all months are alike."""
        return not any(np.any(coefficient) for coefficient in (*self.sine, *self.cosine))

    @property
    def has_even_week(self) -> bool:
        """Whether all days of the week are alike."""
        return all(np.all(factor == 1.0) for factor in self.weekday_factor)

    def take(self, rows: Integers) -> "Season":
        """Pick the seasons of some vehicles; one that all share stays as it is."""
        if isinstance(self.sine[0], float):
            return self
        return Season(
            sine=tuple(np.asarray(a)[rows] for a in self.sine),
            cosine=tuple(np.asarray(b)[rows] for b in self.cosine),
            weekday_factor=tuple(np.asarray(f)[rows] for f in self.weekday_factor),
        )

    def rate(self, time_days: Floats) -> Floats:
        """Rate relative to the year's mean, the week left aside."""
        terms = zip(_angular(), self.sine, self.cosine, strict=True)
        return np.asarray(
            1.0 + sum(a * np.sin(w * time_days) + b * np.cos(w * time_days) for w, a, b in terms)
        )

    def operational_days(self, time_days: Floats) -> Floats:
        """Clock on which the season vanishes: the integral of the relative rate. [d]."""
        if not self.has_even_week:
            time_days = days_by_week(time_days, self.weekday_factor)
        if self.has_even_year:
            return time_days
        terms = zip(_angular(), self.sine, self.cosine, strict=True)
        waves = sum((b * np.sin(w * time_days) - a * np.cos(w * time_days)) / w for w, a, b in terms)
        return np.asarray(time_days + waves)

    def calendar_days(self, operational_days: Floats) -> Floats:
        """Time at which the operational clock shows a value; exact to well below a minute. [d]."""
        year = replace(self, weekday_factor=EVEN_WEEK)
        time = operational_days.copy()
        for _ in range(0 if self.has_even_year else ITERATIONS):
            time = time - (year.operational_days(time) - operational_days) / self.rate(time)
        return time if self.has_even_week else days_of_calendar(time, self.weekday_factor)


NO_SEASON: Final = Season(sine=(0.0, 0.0), cosine=(0.0, 0.0))


def seasons_of_vehicles(seasons: Sequence[Season], class_index: Integers) -> Season:
    """Give every vehicle the season of its class; `class_index` has shape (n,)."""
    if all(season == seasons[0] for season in seasons):
        return seasons[0]
    columns = {
        name: tuple(row[class_index] for row in np.array([getattr(one, name) for one in seasons]).T)
        for name in ("sine", "cosine", "weekday_factor")
    }
    return Season(**columns)


def fit_season(time_days: Floats, odometer_km: Floats, offsets: Integers) -> Season:
    """Fit the season that the vehicles share, as far as their readings support one.

    Parameters
    ----------
    time_days, odometer_km, offsets
        Accepted readings of n vehicles, as for `filter_readings`.

    Returns
    -------
    Season
        An even year with fewer than `LEAST_VEHICLES` vehicles that were read for a year, or less than two years in
        all; otherwise shrunk towards it by as much as the fit may owe to chance.

    Raises
    ------
    InvalidInputError
        If the readings are not such as `check_readings` asks for.

    Notes
    -----
    Distances between readings, relative to the vehicle's own average, are regressed on the integrals of two
    harmonics, see `shrunk_fit`; the week is that of `fit_week`. O(r).
    """
    check_readings(time_days, odometer_km, offsets)
    week = fit_week(time_days, odometer_km, offsets)
    return replace(_fit_year(time_days, odometer_km, offsets), weekday_factor=week)


def _fit_year(time_days: Floats, odometer_km: Floats, offsets: Integers) -> Season:
    counts = np.diff(offsets)
    vehicle = np.repeat(np.arange(counts.size), counts)
    some = np.flatnonzero(counts >= 2)
    span, distance = np.zeros(counts.size), np.zeros(counts.size)
    first, last = offsets[:-1][some], offsets[1:][some] - 1
    span[some], distance[some] = time_days[last] - time_days[first], odometer_km[last] - odometer_km[first]
    usable = (span >= YEAR_DAYS) & (distance > 0.0)
    if np.count_nonzero(usable) < LEAST_VEHICLES or np.ptp(time_days) < LEAST_SPAN_DAYS:
        return NO_SEASON
    pair = np.flatnonzero((vehicle[1:] == vehicle[:-1]) & usable[vehicle[1:]] & (np.diff(time_days) > 0.0))
    scale = (distance / np.maximum(span, 1.0))[vehicle[pair]]
    days = time_days[pair + 1] - time_days[pair]
    response = (odometer_km[pair + 1] - odometer_km[pair]) / scale - days
    waves = np.stack(
        [
            (f(w * time_days[pair + 1]) - f(w * time_days[pair])) * s / w
            for w in _angular()
            for f, s in _INTEGRALS
        ],
        axis=1,
    )
    coefficients = shrunk_fit(waves, response, 1.0 / days)
    swing = float(np.sum(np.hypot(coefficients[0::2], coefficients[1::2])))
    coefficients = coefficients * min(1.0, LARGEST_SWING / max(swing, 1e-12))
    return Season(sine=tuple(coefficients[0::2].tolist()), cosine=tuple(coefficients[1::2].tolist()))


def fit_seasons(
    time_days: Floats, odometer_km: Floats, offsets: Integers, class_index: Integers, n_classes: int
) -> tuple[Season, ...]:
    """Fit a season for every class that has enough vehicles of its own; the others take the whole fleet's.

    Parameters and conditions are those of `fit_season`; `class_index` has shape (n,), one class a vehicle.
    """
    whole = fit_season(time_days, odometer_km, offsets)
    if np.unique(class_index).size < 2:
        return (whole,) * n_classes
    seasons = []
    for one in range(n_classes):
        inside, own = of_vehicles(np.flatnonzero(class_index == one), offsets)
        fitted = fit_season(time_days[inside], odometer_km[inside], own)
        year = whole if fitted.has_even_year else fitted
        week = whole if fitted.has_even_week else fitted
        seasons.append(replace(year, weekday_factor=week.weekday_factor))
    return tuple(seasons)


# Integrals of sine and cosine.
_INTEGRALS: Final = ((np.cos, -1.0), (np.sin, 1.0))


def _angular() -> tuple[float, ...]:
    return tuple(2.0 * np.pi * h / YEAR_DAYS for h in HARMONICS)
