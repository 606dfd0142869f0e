"""Judge new readings of vehicles about which nothing is in doubt, all at once and without their stored readings.

Most readings are of this kind: later than everything stored, and at a pace that driving explains best. Whatever is
not goes the long way, with what is stored of its vehicle.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.engine.arrays import Codes, Floats, Integers
from service.engine.screening.clean import find_clean_vehicles
from service.engine.screening.reasons import Context, find_reasons
from service.usecases.readings.known_readings import SAME_TIME_DAYS
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.reading_ends import N_POINTS, ReadingEnds
from service.usecases.readings.reading_windows import WINDOW_READINGS
from service.usecases.readings.row_outcomes import Marks, Places
from service.usecases.readings.screen_readings import REASON_PLACE_BY_CODE

_FIRST: Final = -1
_POINT: Final = -2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Series:
    """Odometer entries of vehicles one after the other, in the order of time; `row` is negative for stored ones."""

    row: Places
    vehicle: Integers
    days: Floats
    km: Floats
    """As the present instrument showed it."""

    offsets: Integers

    def is_believed(self) -> Marks:
        """Mark the stored entries; of the last one it is to be seen whether the new ones speak for it."""
        is_stored = self.row < 0
        is_last = np.append((self.row[1:] >= 0) | (self.vehicle[1:] != self.vehicle[:-1]), True)
        return np.asarray(is_stored & ~is_last[: is_stored.size])

    def of(self, is_wanted: Marks) -> "_Series":
        """Keep the entries of some vehicles; the others have none."""
        inside = is_wanted[self.vehicle]
        return _series(
            self.row[inside], self.vehicle[inside], self.days[inside], self.km[inside], is_wanted.size
        )


def _series(
    row: Places,
    vehicle: Integers,
    days: Floats,
    km: Floats,
    n_vehicles: int,
) -> _Series:
    offsets = np.searchsorted(vehicle, np.arange(n_vehicles + 1)).astype(np.int64)
    return _Series(row=row, vehicle=vehicle, days=days, km=km, offsets=offsets)


def may_be_settled(new: NewReadings, ends: ReadingEnds) -> Marks:
    """Mark the vehicles all of whose new readings are later than what is stored, and repeat none of each other."""
    rows = new.open_by_time
    vehicle, days = new.vehicle[rows], new.at_days[rows]
    is_settled = ends["is_settled"].copy()
    is_settled[vehicle[days <= ends["last_days"][vehicle] + SAME_TIME_DAYS]] = False
    is_close = (np.diff(vehicle) == 0) & (np.diff(days) <= SAME_TIME_DAYS)
    is_settled[vehicle[1:][is_close]] = False
    references = [reference for reference in new.sent.reference if reference is not None]
    if len(set(references)) < len(references):
        is_settled[_named_twice(new, rows.tolist())] = False
    return np.asarray(is_settled)


def _named_twice(new: NewReadings, rows: list[int]) -> list[int]:
    """Vehicles with two readings of one source and reference among these."""
    vehicle, sent = new.vehicle.tolist(), new.sent
    names = Counter(
        (vehicle[place], sent.source[place], sent.reference[place])
        for place in rows
        if sent.reference[place] is not None
    )
    return [name[0] for name, count in names.items() if count > 1]


def judge_settled(new: NewReadings, ends: ReadingEnds, prior_rate: Floats, may_be: Marks) -> Marks:
    """Accept the readings of vehicles that stay settled and bring their ends up to date; marks these vehicles."""
    series = _lay_out(new, ends, may_be)
    is_settled = may_be & find_clean_vehicles(
        series.days, series.km, series.offsets, prior_rate, believed=series.is_believed()
    )
    series = series.of(is_settled)
    is_new = series.row >= 0
    row, vehicle = series.row[is_new], series.vehicle[is_new]
    new.outcomes.reason[row] = REASON_PLACE_BY_CODE[_reasons(series, prior_rate)[is_new]]
    new.used_km[row] = ends["factor"][vehicle] * series.km[is_new] + ends["offset_km"][vehicle]
    _bring_forward(new, ends, series, is_settled)
    return is_settled


def _reasons(series: _Series, prior_rate: Floats) -> Codes:
    """What is worth knowing about entries all of which are believed."""
    n_entries = series.row.size
    context = Context(
        time_days=series.days, keyed_km=series.km, odometer_km=series.km, offsets=series.offsets,
        accepted=np.ones(n_entries, dtype=np.bool_), factor=np.ones(n_entries),
        renewed=np.zeros(n_entries, dtype=np.bool_), prior_rate=prior_rate, fleet_km=np.zeros(0),
    )  # fmt: skip
    return find_reasons(context)[0]


def _lay_out(new: NewReadings, ends: ReadingEnds, may_be: Marks) -> _Series:
    """Put a vehicle's first reading, its latest ones and the new ones one after the other: the order of time."""
    shown = (ends["first_km"] - ends["offset_km"]) / ends["factor"]
    has_first = np.flatnonzero(may_be & (ends["first_days"] < ends["point_days"][:, 0]))
    owner, point = np.nonzero(may_be[:, None] & ~np.isnan(ends["point_days"]))
    rows = new.open_by_time
    rows = rows[~np.isnan(new.km[rows]) & may_be[new.vehicle[rows]]]
    row = np.concatenate((np.full(has_first.size, _FIRST), np.full(owner.size, _POINT), rows))
    vehicle = np.concatenate((has_first, owner, new.vehicle[rows]))
    days = np.concatenate(
        (ends["first_days"][has_first], ends["point_days"][owner, point], new.at_days[rows])
    )
    km = np.concatenate((shown[has_first], ends["point_km"][owner, point], new.km[rows]))
    order = np.argsort(vehicle, kind="stable")
    return _series(row[order], vehicle[order], days[order], km[order], may_be.size)


def _bring_forward(new: NewReadings, ends: ReadingEnds, series: _Series, is_settled: Marks) -> None:
    """Let the ends of settled vehicles say what they are with the new readings."""
    rows = new.open
    rows = rows[is_settled[new.vehicle[rows]]]
    np.maximum.at(ends["last_days"], new.vehicle[rows], new.at_days[rows])
    counts = np.bincount(series.vehicle[series.row >= 0], minlength=is_settled.size)
    moved = np.flatnonzero(is_settled & (counts > 0))
    end = series.offsets[1:][moved]
    newest = series.days[end - 1]
    _begin_anew(ends, series, np.flatnonzero(np.diff(series.vehicle, prepend=-1)))
    at = end[:, None] + np.arange(-N_POINTS, 0)
    is_own = (at >= series.offsets[:-1][moved][:, None]) & (series.row[np.maximum(at, 0)] != _FIRST)
    for name, values in (("point_days", series.days), ("point_km", series.km)):
        ends[name][moved] = np.where(is_own, values[np.maximum(at, 0)], np.nan)
    ends["n_later"][moved] += counts[moved]
    full = moved[ends["n_later"][moved] > WINDOW_READINGS]
    ends["since_days"][full], ends["n_later"][full] = ends["later_days"][full], 0.0
    ends["later_days"][full] = newest[np.searchsorted(moved, full)]


def _begin_anew(ends: ReadingEnds, series: _Series, begin: Places) -> None:
    """Note the first odometer reading of vehicles that had none."""
    begin = begin[np.isnan(ends["first_days"][series.vehicle[begin]])]
    vehicle = series.vehicle[begin]
    for name in ("first_days", "since_days", "later_days"):
        ends[name][vehicle] = series.days[begin]
    ends["first_km"][vehicle] = ends["factor"][vehicle] * series.km[begin] + ends["offset_km"][vehicle]
