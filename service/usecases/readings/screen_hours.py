"""Judge hour meters: they run forwards, no faster than the clock, and go on after the meter was replaced."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isnan
from typing import Any, Final, NamedTuple

import numpy as np
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.plausibility import hours_run_on
from service.store.repositories import readings
from service.store.repositories.machine_sources import list_sources
from service.store.repositories.reading_windows import read_since
from service.usecases.access.caller import Caller
from service.usecases.readings.change_verdicts import ROUNDING, tell_changes
from service.usecases.readings.known_readings import REPLACEMENT_SOURCE
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.reading_ends import ReadingEnds
from service.usecases.readings.row_outcomes import HELD, REASON_PLACES
from service.usecases.usage.engine_time import days_of

ROUNDING_DAYS: Final = ROUNDING.total_seconds() / 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HourSeries:
    """What is added to the number of an hour meter so that it goes on from the meters before it."""

    starts: Mapping[int, Sequence[tuple[float, float]]]
    """By vehicle: since when, and how many hours."""

    machines: Collection[str]
    """Sources that go on by themselves."""

    def shift(self, vehicle_id: int, at_days: float, source: str) -> float:
        """Hours to add to a reading."""
        if source in self.machines:
            return 0.0
        starts = reversed(self.starts.get(vehicle_id, ()))
        return next((shift for since, shift in starts if since <= at_days + ROUNDING_DAYS), 0.0)


class _Row(NamedTuple):
    """Columns of the rows of `reading_windows`."""

    id: int
    vehicle_id: int
    at_days: float
    odometer_km: float | None
    outcome: str
    reason: str | None
    decided_by: str | None
    used_km: float | None
    received_days: float
    source: str
    reference: str | None
    engine_hours: float | None
    used_hours: float | None

    @property
    def is_start(self) -> bool:
        """Whether it is the first of a new meter."""
        is_replacement = self.source == REPLACEMENT_SOURCE and self.decided_by is not None
        return is_replacement and self.reason == ReadingReason.CLUSTER_REPLACED

    @property
    def is_vouched(self) -> bool:
        """Whether somebody said that these hours are right, not only the odometer beside them."""
        is_of_hours = self.odometer_km is None or self.source == REPLACEMENT_SOURCE
        return is_of_hours and self.decided_by is not None


class _Verdict(NamedTuple):
    outcome: str
    reason: str | None
    used_hours: float | None


@dataclass(slots=True, kw_only=True)
class _Walk:
    """The believed hours of one vehicle so far."""

    machines: Collection[str]
    last_days: float | None = None
    last_hours: float = 0.0
    shift: float = 0.0

    def runs_on(self, at_days: float, used_hours: float) -> bool:
        """Whether the meter may have come to this."""
        if self.last_days is None:
            return True
        return hours_run_on(self.last_hours, used_hours, at_days - self.last_days)

    def take(self, row: _Row, verdict: _Verdict) -> None:
        """Go on from a row if it is believed."""
        if verdict.outcome != ReadingOutcome.ACCEPTED or verdict.used_hours is None:
            return
        self.last_days, self.last_hours = row.at_days, verdict.used_hours
        if row.is_start:
            self.shift = verdict.used_hours - (row.engine_hours or 0.0)

    def judge(self, row: _Row) -> _Verdict:
        """Decide about a row by those before it."""
        shown = row.engine_hours or 0.0
        if row.is_start:
            return _Verdict(row.outcome, row.reason, shown if self.last_days is None else self.last_hours)
        used = shown + (0.0 if row.source in self.machines else self.shift)
        runs = row.is_vouched or self.runs_on(row.at_days, used)
        if row.odometer_km is not None:
            return _Verdict(row.outcome, _reason(row, runs=runs), used if runs else None)
        outcome = ReadingOutcome.ACCEPTED if runs else ReadingOutcome.HELD
        return _Verdict(str(outcome), _reason(row, runs=runs), used)


def load_hour_series(session: Session, organisation_id: int, vehicle_ids: Collection[int]) -> HourSeries:
    """Load what replaced hour meters of some vehicles left behind."""
    starts: dict[int, list[tuple[float, float]]] = {}
    found = readings.replaced_hour_meters(session, organisation_id, sorted(vehicle_ids), REPLACEMENT_SOURCE)
    for vehicle_id, at_days, shift in found:
        starts.setdefault(vehicle_id, []).append((at_days, shift))
    return HourSeries(starts=starts, machines=_machines(session, organisation_id) if starts else ())


def check_new_hours(
    session: Session, organisation_id: int, new: NewReadings, ends: ReadingEnds, stored: Sequence[Any]
) -> None:
    """Leave an hour meter out that runs backwards or faster than the clock; the distance beside it counts.

    The latest believed hours stand in the ends, or in the rows that were loaded.
    """
    _note_stored_hours(new, ends, stored)
    rows = np.flatnonzero(new.is_open & ~np.isnan(new.sent.engine_hours))
    if rows.size == 0:
        return
    owners = new.vehicle[rows]
    series = load_hour_series(session, organisation_id, new.vehicle_ids[np.unique(owners)].tolist())
    last = dict(zip(owners.tolist(), ends[["hours_days", "hours"]][owners].tolist(), strict=True))
    at_days = new.at_days
    for place in rows[np.argsort(at_days[rows], kind="stable")].tolist():
        owner, at = int(new.vehicle[place]), float(at_days[place])
        shift = series.shift(int(new.vehicle_ids[owner]), at, new.sent.source[place])
        hours = float(new.sent.engine_hours[place]) + shift
        before_days, before_hours = last[owner]
        # Nothing is before a meter's first hours, which stand as NaN.
        if not before_days <= at or hours_run_on(before_hours, hours, at - before_days):
            new.used_hours[place] = hours
            last[owner] = at, hours
            if not ends["hours_days"][owner] > at:
                ends["hours_days"][owner], ends["hours"][owner] = at, hours
            continue
        if new.outcomes.reason[place] == 0:
            new.outcomes.reason[place] = REASON_PLACES[ReadingReason.IMPLAUSIBLE_HOURS]
        if isnan(new.km[place]):
            new.outcomes.outcome[place] = HELD
            new.used_hours[place] = hours


def _note_stored_hours(new: NewReadings, ends: ReadingEnds, stored: Sequence[Any]) -> None:
    """Let the ends say the latest believed hours of what was loaded."""
    last: dict[int, tuple[float, float]] = {}
    for row in stored:
        if row[12] is not None and row[4] == ReadingOutcome.ACCEPTED:
            last[row[1]] = max(last.get(row[1], (row[2], row[12])), (row[2], row[12]))
    for vehicle_id, hours in last.items():
        at = np.searchsorted(new.vehicle_ids, vehicle_id)
        ends["hours_days"][at], ends["hours"][at] = hours


def can_show_hours(session: Session, caller: Caller, vehicle_id: int, at: datetime, hours: float) -> bool:
    """Whether the meter that a vehicle had until then may have shown this."""
    walk = _walk_until(session, caller.organisation_id, vehicle_id, at - ROUNDING)
    return walk.runs_on(days_of(at), hours + walk.shift)


def judge_hours_anew(
    session: Session, caller: Caller, now: datetime, vehicle_id: int, since: datetime
) -> None:
    """Judge the hours of a vehicle again from a time on, and write down what changed."""
    begin = since - ROUNDING
    walk = _walk_until(session, caller.organisation_id, vehicle_id, begin)
    changes: list[tuple[_Row, _Verdict]] = []
    for row in _rows(session, caller.organisation_id, vehicle_id, begin):
        verdict = walk.judge(row)
        walk.take(row, verdict)
        if verdict != _stored(row):
            changes.append((row, verdict))
    rows = [{"id": row.id} | verdict._asdict() for row, verdict in changes]
    readings.update_verdicts(session, caller.organisation_id, rows)
    told = [
        (row.id, (row.outcome, row.reason), (verdict.outcome, verdict.reason)) for row, verdict in changes
    ]
    tell_changes(session, caller, now, told)


def _walk_until(session: Session, organisation_id: int, vehicle_id: int, until: datetime) -> _Walk:
    """What is believed of a vehicle's hours before an instant."""
    walk = _Walk(machines=_machines(session, organisation_id))
    last = readings.last_hours(session, organisation_id, vehicle_id, until)
    if last is not None:
        walk.last_days, walk.last_hours = last
    replaced = readings.replaced_hour_meters(session, organisation_id, [vehicle_id], REPLACEMENT_SOURCE)
    shifts = [shift for _, at_days, shift in replaced if at_days < days_of(until)]
    walk.shift = shifts[-1] if shifts else 0.0
    return walk


def _rows(session: Session, organisation_id: int, vehicle_id: int, since: datetime) -> Iterable[_Row]:
    """Every reading of a vehicle's hours from an instant on that nobody discarded, in the order of time."""
    stored: Sequence[Any] = read_since(session, organisation_id, {vehicle_id: since})
    rows = (_Row(*row) for row in stored)
    return [row for row in rows if row.engine_hours is not None and row.outcome != ReadingOutcome.REJECTED]


def _machines(session: Session, organisation_id: int) -> frozenset[str]:
    """Sources whose values go on from what the vehicle showed when they were linked to it."""
    return frozenset(source.name for source in list_sources(session, organisation_id))


def _stored(row: _Row) -> _Verdict:
    return _Verdict(row.outcome, row.reason, row.used_hours)


def _reason(row: _Row, *, runs: bool) -> str | None:
    """What a person decided keeps its reason, and what is wrong with the odometer comes first."""
    if row.decided_by is not None:
        return row.reason
    if runs:
        return None if row.reason == ReadingReason.IMPLAUSIBLE_HOURS else row.reason
    return row.reason or str(ReadingReason.IMPLAUSIBLE_HOURS)
