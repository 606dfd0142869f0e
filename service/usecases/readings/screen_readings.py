"""Decide which readings to believe: stored ones and new ones of some vehicles together, in the order of time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isnan
from typing import Any, Final, NamedTuple

import numpy as np
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.engine.arrays import Codes, Floats, Integers
from service.engine.screening.outcomes import Outcome, Reason, Verdict
from service.engine.screening.screen import Entries, Screening, screen_readings
from service.store.repositories import readings
from service.usecases.access.caller import Caller
from service.usecases.readings.change_verdicts import Decision, note_changes
from service.usecases.readings.known_readings import SAME_TIME_DAYS, snapped
from service.usecases.readings.reading_windows import StoredReadings, WindowStart
from service.usecases.readings.row_outcomes import OUTCOME_PLACES, REASON_PLACES
from service.usecases.readings.twins import spoken_for
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.usage_model import known_usage, vehicle_classes

OUTCOME_BY_CODE: Final = {
    Outcome.ACCEPTED: ReadingOutcome.ACCEPTED,
    Outcome.HELD: ReadingOutcome.HELD,
    Outcome.DUPLICATE: ReadingOutcome.DUPLICATE,
    Outcome.REJECTED: ReadingOutcome.REJECTED,
    Outcome.CONVICTED: ReadingOutcome.HELD,
}
REASON_BY_CODE: Final = {
    Reason.NONE: None,
    Reason.ROLLBACK: ReadingReason.ROLLBACK,
    Reason.DIGIT_LOST: ReadingReason.DIGIT_LOST_OR_ADDED,
    Reason.DIGIT_ADDED: ReadingReason.DIGIT_LOST_OR_ADDED,
    Reason.OTHER_VEHICLE: ReadingReason.OTHER_VEHICLE,
    Reason.MILES_FOR_KILOMETRES: ReadingReason.MILES_FOR_KM,
    Reason.KILOMETRES_FOR_MILES: ReadingReason.KM_FOR_MILES,
    Reason.DUPLICATE: ReadingReason.DUPLICATE,
    Reason.FUTURE: ReadingReason.FUTURE,
    Reason.IMPLAUSIBLE_PACE: ReadingReason.IMPLAUSIBLE_PACE,
    Reason.INSTRUMENT_REPLACED: ReadingReason.CLUSTER_REPLACED,
    Reason.PARKED: ReadingReason.PARKED,
    Reason.NOT_A_READING: ReadingReason.OUT_OF_RANGE,
    Reason.DISCARDED: ReadingReason.DISCARDED,
    Reason.AMBIGUOUS: ReadingReason.AMBIGUOUS,
}


def _places_by_code(members: Mapping[Any, Any], places: Mapping[Any, int]) -> Codes:
    table = np.zeros(max(members) + 1, dtype=np.int8)
    for code, member in members.items():
        table[code] = places[member]
    return table


OUTCOME_PLACE_BY_CODE: Final = _places_by_code(OUTCOME_BY_CODE, OUTCOME_PLACES)
REASON_PLACE_BY_CODE: Final = _places_by_code(REASON_BY_CODE, REASON_PLACES)

OTHERS_WITHIN_KM: Final = 3_000.0
MOST_OTHERS: Final = 3
"""Where more vehicles than this stand that near, agreement with one is no evidence. Common practice, no source."""
MOST_COMPARED: Final = 100
"""Refused numbers of one call that are compared with other vehicles'."""

UNEXPLAINED: Final = frozenset({ReadingReason.ROLLBACK, ReadingReason.IMPLAUSIBLE_PACE})


class Decided(NamedTuple):
    """What screening said."""

    of_new: list[Decision]
    changed: set[int]
    """Vehicles of which stored readings are judged otherwise now."""


class NewEntry(NamedTuple):
    """An odometer value that is not stored yet."""

    vehicle_id: int
    at_days: float
    odometer_km: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """Odometer entries of some vehicles, by vehicle and time; `place` says which of the entries given each one is."""

    place: Integers
    vehicle: Integers
    entries: Entries

    def of_vehicles(self, vehicle_ids: Sequence[int], fleet_km: Sequence[float]) -> "_Table":
        """Keep some vehicles, to be compared with odometers of others."""
        inside = np.isin(self.vehicle, vehicle_ids)
        vehicle = self.vehicle[inside]
        rated = dict(
            zip(
                self.vehicle[self.entries.offsets[:-1]].tolist(),
                self.entries.prior_rate.tolist(),
                strict=True,
            )
        )
        offsets = _offsets(vehicle)
        return _Table(
            place=self.place[inside],
            vehicle=vehicle,
            entries=Entries(
                time_days=self.entries.time_days[inside],
                keyed_km=self.entries.keyed_km[inside],
                offsets=offsets,
                received_days=self.entries.received_days[inside],
                verdict=self.entries.verdict[inside],
                prior_rate=np.array([rated[key] for key in vehicle[offsets[:-1]].tolist()]),
                fleet_km=np.sort(np.array(fleet_km, dtype=np.float64)),
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Verdicts:
    """What screening says of entries, at their places: the engine's codes; km, NaN for none."""

    outcome: Codes
    reason: Codes
    used_km: Floats
    suggested_km: Floats

    @classmethod
    def of(cls, n_entries: int) -> "_Verdicts":
        """Room for so many entries."""
        codes, numbers = np.zeros((2, n_entries), dtype=np.int8), np.full((2, n_entries), np.nan)
        return cls(outcome=codes[0], reason=codes[1], used_km=numbers[0], suggested_km=numbers[1])

    def decisions(self, places: Integers) -> list[Decision]:
        """Spell out what was decided about some entries."""
        columns = (self.outcome, self.reason, self.used_km, self.suggested_km)
        return [
            Decision(
                OUTCOME_BY_CODE[outcome],
                REASON_BY_CODE[reason],
                None if isnan(used_km) else used_km,
                None if isnan(suggested_km) else suggested_km,
            )
            for outcome, reason, used_km, suggested_km in zip(
                *(column[places].tolist() for column in columns), strict=True
            )
        ]


def decide(
    session: Session, caller: Caller, now: datetime, stored: StoredReadings, new: Sequence[NewEntry]
) -> Decided:
    """Screen the new entries with what is stored of their vehicles; stored verdicts that change are updated."""
    old = [row for row in stored.rows if row[3] is not None]
    table = _table(session, caller.organisation_id, now, stored, old, new)
    verdicts = _Verdicts.of(len(old) + len(new))
    _screen(table, stored.starts, verdicts)
    of_new = np.arange(len(old), len(old) + len(new))
    decisions = verdicts.decisions(of_new)
    refused = [
        entry
        for entry, decision in zip(new, decisions, strict=True)
        if decision.outcome is ReadingOutcome.HELD and decision.reason in UNEXPLAINED
    ]
    others = _others(session, caller.organisation_id, refused[:MOST_COMPARED])
    if others:
        again = table.of_vehicles(list(others), [km for near in others.values() for km in near])
        _screen(again, stored.starts, verdicts)
        decisions = verdicts.decisions(of_new)
    changed = _changed_places(old, verdicts)
    pairs = zip([old[place] for place in changed.tolist()], verdicts.decisions(changed), strict=True)
    return Decided(decisions, note_changes(session, caller, now, stored, list(pairs)))


def judge_alone(
    session: Session, organisation_id: int, now: datetime, stored: StoredReadings, entry: NewEntry
) -> Decision:
    """Say what a number would be taken for, by what is stored up to its time; nothing is changed."""
    until_days = entry.at_days + SAME_TIME_DAYS
    old = [row for row in stored.rows if row[3] is not None and row[2] <= until_days]
    table = _table(session, organisation_id, now, stored, old, [entry])
    verdicts = _Verdicts.of(len(old) + 1)
    _screen(table, stored.starts, verdicts)
    return verdicts.decisions(np.array([len(old)]))[0]


def _changed_places(old: Sequence[Any], verdicts: _Verdicts) -> Integers:
    """Find the stored entries of which anything that is stored differs from what is decided now."""
    outcomes = np.array([OUTCOME_PLACES[row[4]] for row in old], dtype=np.int8)
    reasons = np.array([REASON_PLACES[row[5]] for row in old], dtype=np.int8)
    used_km = np.array([row[7] for row in old], dtype=np.float64)
    new_km = verdicts.used_km[: len(old)]
    is_same = (
        (outcomes == OUTCOME_PLACE_BY_CODE[verdicts.outcome[: len(old)]])
        & (reasons == REASON_PLACE_BY_CODE[verdicts.reason[: len(old)]])
        & ((used_km == new_km) | (np.isnan(used_km) & np.isnan(new_km)))
    )
    return np.flatnonzero(~is_same)


def _table(
    session: Session,
    organisation_id: int,
    now: datetime,
    stored: StoredReadings,
    old: Sequence[Any],
    new: Sequence[NewEntry],
) -> _Table:
    """Lay out stored and new entries, and before a window the vehicle's first reading, which has no place."""
    starts = stored.starts
    firsts = [
        (key, start.first_days, start.shown(start.first_km))
        for key, start in starts.items()
        if start.shown(start.first_km) >= 0.0
    ]
    n_old, n_placed = len(old), len(old) + len(new)
    vehicle = np.array([row[1] for row in old] + [one[0] for one in (*new, *firsts)], dtype=np.int64)
    time = snapped(np.array([row[2] for row in old] + [one[1] for one in (*new, *firsts)], dtype=np.float64))
    keyed_km = np.array([row[3] for row in old] + [one[2] for one in (*new, *firsts)], dtype=np.float64)
    received = np.full(vehicle.size, days_of(now))
    received[:n_old] = [row[8] for row in old]
    received[n_placed:] = time[n_placed:]
    verdict = np.full(vehicle.size, Verdict.NONE, dtype=np.int8)
    begins = {start.reading_id for start in starts.values()}
    for place, row in enumerate(old):
        if row[6] is not None or row[0] in begins:
            verdict[place] = _verdict(row)
    verdict[n_placed:] = Verdict.RELEASED
    order = np.lexsort((np.arange(vehicle.size), time, vehicle))
    offsets = _offsets(vehicle[order])
    return _Table(
        place=np.where(order < n_placed, order, -1),
        vehicle=vehicle[order],
        entries=Entries(
            time_days=time[order],
            keyed_km=keyed_km[order],
            offsets=offsets,
            received_days=received[order],
            verdict=verdict[order],
            prior_rate=_prior_rates(session, organisation_id, vehicle[order][offsets[:-1]]),
            fleet_km=np.zeros(0),
        ),
    )


def _verdict(row: Any) -> Verdict:
    """What a person decided; where a window starts nobody has to have."""
    if row[6] is None:
        return Verdict.RELEASED
    if row[5] == ReadingReason.CLUSTER_REPLACED:
        return Verdict.RENEWED
    return Verdict.RELEASED if row[5] == ReadingReason.RELEASED else Verdict.DISCARDED


def _others(session: Session, organisation_id: int, refused: Sequence[NewEntry]) -> dict[int, list[float]]:
    """Odometers of other vehicles near the numbers that were refused, by the vehicle they were keyed for."""
    found: dict[int, list[float]] = {}
    for entry in refused:
        near = readings.odometers_near(
            session, organisation_id, entry.vehicle_id, entry.odometer_km, OTHERS_WITHIN_KM, MOST_OTHERS + 1
        )
        if 0 < len(near) <= MOST_OTHERS:
            found.setdefault(entry.vehicle_id, []).extend(near)
    return found


def _prior_rates(session: Session, organisation_id: int, vehicle_ids: Integers) -> Floats:
    ids = vehicle_ids.tolist()
    classes = vehicle_classes(session, organisation_id, ids)
    return np.asarray(np.exp(known_usage(session, organisation_id).odometer_priors(classes).log_rate))


def _offsets(vehicle: Integers) -> Integers:
    starts = np.flatnonzero(np.diff(vehicle, prepend=-1))
    return np.concatenate((starts, [vehicle.size])).astype(np.int64)


def _screen(table: _Table, starts: Mapping[int, WindowStart], verdicts: _Verdicts) -> None:
    """Screen a table; what is said of other entries stays as it was."""
    screening: Screening = screen_readings(table.entries)
    inside = table.place >= 0
    place = table.place[inside]
    judge = spoken_for(table.entries, screening)
    is_accepted = screening.is_accepted[judge]
    used_km = np.where(is_accepted, screening.odometer_km[judge], np.nan)
    for key, start in starts.items():
        own = table.vehicle == key
        used_km[own] = start.continued(used_km[own])
    verdicts.outcome[place] = screening.outcome[judge][inside]
    verdicts.reason[place] = screening.reason[judge][inside]
    verdicts.used_km[place] = used_km[inside]
    verdicts.suggested_km[place] = np.where(is_accepted, np.nan, screening.suggested_km[judge])[inside]
