"""Readings of one call that can be stored: whose they are, in kilometres and UTC, and what is decided about them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain import plausibility
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.units_of_distance import DistanceUnit
from service.engine.arrays import Floats, Integers
from service.errors import InvalidInputError
from service.store.repositories.reading_owners import lock_owners
from service.units import km_from_miles
from service.usecases.access.caller import Caller
from service.usecases.readings.instant_columns import MICROSECOND, MICROSECONDS_PER_MINUTE
from service.usecases.readings.reading_columns import ReadingColumns
from service.usecases.readings.reading_ends import READING_END, ReadingEnds, load_ends
from service.usecases.readings.row_outcomes import Marks, Places, RowOutcomes, RowResult
from service.usecases.usage.engine_time import EPOCH, SECONDS_PER_DAY

_FIRST, _END = (
    int(np.datetime64(f"{year}-01-01", "us").astype(np.int64))
    for year in (plausibility.FIRST_DAY.year, plausibility.LAST_DAY.year + 1)
)
_MILES: Final = str(DistanceUnit.MI)


@dataclass(slots=True, kw_only=True)
class NewReadings:
    """Every row of a call by its place, also those that are refused."""

    sent: ReadingColumns
    outcomes: RowOutcomes
    vehicle_ids: Integers
    """Of the vehicles that the open rows are of, in ascending order."""

    classes: Sequence[str]
    """Of the same vehicles."""

    since: Mapping[int, int]
    """Ordinal of the first day in service, by key; missing where nobody said."""

    vehicle: Integers
    """Which of these vehicles each row is of."""

    taken_us: Integers
    """UTC, in microseconds since 1970; a slightly fast clock of the sender taken as now."""

    unit: Sequence[str]
    km: Floats
    used_km: Floats
    used_hours: Floats
    is_open: Marks
    """The rows that are neither refused nor repeats, so far."""

    @property
    def at_days(self) -> Floats:
        """Times in days since 1970."""
        return self.taken_us / 1e6 / SECONDS_PER_DAY

    @property
    def open(self) -> Places:
        """Places of the open rows."""
        return np.flatnonzero(self.is_open)

    @property
    def open_by_time(self) -> Places:
        """Places of the open rows, vehicle by vehicle in the order of time."""
        rows = self.open
        return rows[np.lexsort((self.taken_us[rows], self.vehicle[rows]))]

    def close(self, places: Places | Marks | int, outcome: ReadingOutcome, reason: ReadingReason) -> None:
        """Say that rows are not stored, and why."""
        self.outcomes.say(places, outcome, reason)
        self.is_open[places] = False


def read_new(
    session: Session, caller: Caller, now: datetime, sent: ReadingColumns
) -> tuple[NewReadings, ReadingEnds]:
    """Find the vehicles, lock them, and refuse the rows that say nothing that can be stored.

    Gives the ends of the vehicles of the open rows besides.
    """
    owners = lock_owners(
        session, caller.organisation_id, list(dict.fromkeys(sent.vehicle)), READING_END.itemsize
    )
    key_of = dict(zip(owners.names, owners.keys, strict=True))
    unit_of = dict(zip(owners.names, owners.units, strict=True))
    class_of = dict(zip(owners.keys, owners.classes, strict=True))
    row_vehicle = np.array([key_of.get(name, 0) for name in sent.vehicle], dtype=np.int64)
    if caller.vehicle_id is not None:
        row_vehicle[row_vehicle != caller.vehicle_id] = 0
    units = [unit or unit_of.get(name, "") for unit, name in zip(sent.unit, sent.vehicle, strict=True)]
    km = sent.odometer
    if _MILES in units:
        km = np.where(np.array(units) == _MILES, km_from_miles(km), km)
    known, vehicle = np.unique(row_vehicle, return_inverse=True)
    new = NewReadings(
        sent=sent,
        outcomes=RowOutcomes.of(len(sent)),
        vehicle_ids=known,
        classes=[class_of.get(key, "") for key in known.tolist()],
        since={key: day for key, day in zip(owners.keys, owners.since, strict=True) if day is not None},
        vehicle=vehicle.astype(np.int64),
        taken_us=np.minimum(sent.taken_at.microseconds, (now - EPOCH) // MICROSECOND),
        unit=units,
        km=km,
        used_km=np.full(len(sent), np.nan),
        used_hours=np.full(len(sent), np.nan),
        is_open=np.ones(len(sent), dtype=np.bool_),
    )
    _refuse(new, now, row_vehicle == 0)
    new = _of_known_vehicles(new)
    return new, load_ends(session, caller.organisation_id, new.vehicle_ids, owners)


def _refuse(new: NewReadings, now: datetime, is_unknown: Marks) -> None:
    """Close the rows that cannot be read or cannot be true; of several reasons the first one counts."""
    sent, rejected = new.sent, ReadingOutcome.REJECTED
    for place, result in sent.refused.items():
        new.outcomes.note(place, result)
        new.is_open[place] = False
    new.close(new.is_open & is_unknown, rejected, ReadingReason.UNKNOWN_VEHICLE)
    has_none = np.isnan(sent.odometer) & np.isnan(sent.engine_hours)
    new.close(new.is_open & has_none, rejected, ReadingReason.NO_METER)
    for place in np.flatnonzero(new.is_open & ~_can_be_past(sent, now)).tolist():
        result = _refused_time(sent.taken_at.instant(place), now)
        new.close(place, result.outcome, result.reason or ReadingReason.TOO_OLD)
        new.outcomes.note(place, result)
    meters = (new.km, plausibility.ODOMETER_KM), (sent.engine_hours, plausibility.ENGINE_HOURS)
    for values, bounds in meters:
        new.close(new.is_open & _are_outside(values, bounds), rejected, ReadingReason.OUT_OF_RANGE)


def _are_outside(values: Floats, bounds: plausibility.Bounds) -> Marks:
    """Mark the numbers that bounds do not hold, of a column whose signs are right."""
    is_shown = (values == 0.0) | (values >= bounds.finest)
    is_inside = is_shown & (values >= bounds.minimum) & (values <= bounds.maximum)
    return np.asarray(~np.isnan(values) & ~is_inside)


def _can_be_past(sent: ReadingColumns, now: datetime) -> Marks:
    """Mark the times that `plausibility.past_instant` takes."""
    utc = sent.taken_at.microseconds
    local = utc + sent.taken_at.offset_minutes * MICROSECONDS_PER_MINUTE
    latest = (now + plausibility.CLOCK_SKEW - EPOCH) // MICROSECOND
    return np.asarray((utc >= _FIRST) & (utc <= latest) & (local >= _FIRST) & (local < _END))


def _refused_time(taken_at: datetime, now: datetime) -> RowResult:
    reason = ReadingReason.FUTURE if taken_at > now else ReadingReason.TOO_OLD
    try:
        plausibility.past_instant("/taken_at", taken_at, now)
    except InvalidInputError as error:
        return RowResult(ReadingOutcome.REJECTED, reason, error.detail)
    return RowResult(ReadingOutcome.REJECTED, reason)


def _of_known_vehicles(new: NewReadings) -> NewReadings:
    """Leave out vehicles without an open row."""
    counts = np.bincount(new.vehicle[new.is_open], minlength=new.vehicle_ids.size)
    if not np.all(counts):
        kept = counts > 0
        place = np.cumsum(kept) - 1
        new.vehicle = np.where(kept, place, -1)[new.vehicle] if kept.size else new.vehicle
        new.classes = [name for name, is_kept in zip(new.classes, kept.tolist(), strict=True) if is_kept]
        new.vehicle_ids = new.vehicle_ids[kept]
    return new
