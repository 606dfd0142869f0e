"""Judge new readings together with what is stored of their vehicles, where anything about them may be in doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from math import isnan
from typing import Any, Final

import numpy as np
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.repositories.reading_windows import read_between, read_named
from service.usecases.access.caller import Caller
from service.usecases.readings.known_readings import SAME_TIME, SAME_TIME_DAYS, Candidate, KnownReadings
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.reading_ends import ReadingEnds, WindowEnd, blank_ends, window_ends
from service.usecases.readings.reading_windows import (
    PLAIN,
    EndEntry,
    StoredReadings,
    earliest_times,
    end_of,
    load_readings,
)
from service.usecases.readings.row_outcomes import (
    ACCEPTED,
    OUTCOME_PLACES,
    REASON_PLACES,
    REASONS,
    Marks,
    RowResult,
)
from service.usecases.readings.same_instant import ask_about_same_instants
from service.usecases.readings.screen_readings import NewEntry, decide
from service.usecases.usage.engine_time import instant_of

DISCARDED_ALREADY: Final = RowResult(
    ReadingOutcome.DUPLICATE,
    ReadingReason.DUPLICATE,
    "This reading is stored already, and somebody discarded it: it counts for nothing. Release it if it is right.",
)

Candidates = Mapping[int, Candidate]
"""New readings by their place in the call."""


def judge_doubtful(
    session: Session, caller: Caller, now: datetime, new: NewReadings, ends: ReadingEnds, doubtful: Marks
) -> StoredReadings:
    """Find the repeats, screen the others and find where their vehicles' readings end now; gives what was loaded."""
    sent = _candidates(new, doubtful)
    if not sent:
        return StoredReadings(rows=())
    organisation_id = caller.organisation_id
    known_ends = window_ends(new.vehicle_ids[doubtful].tolist(), ends[doubtful])
    stored = _load(session, organisation_id, sent, known_ends)
    candidates = _without_repeats(new, stored, sent)
    metered = [place for place, one in candidates.items() if one.km is not None]
    entries = [
        NewEntry(one.vehicle_id, one.at_days, one.km or 0.0) for one in map(candidates.__getitem__, metered)
    ]
    decided = decide(session, caller, now, stored, entries)
    for place, decision in zip(metered, decided.of_new, strict=True):
        new.outcomes.outcome[place] = OUTCOME_PLACES[decision.outcome]
        new.outcomes.reason[place] = REASON_PLACES[decision.reason]
        new.used_km[place] = np.nan if decision.used_km is None else decision.used_km
    unchanged = (row for row in stored.rows if row[1] not in decided.changed)
    ask_about_same_instants(new, unchanged, metered)
    _note_ends(new, ends, stored, candidates, decided.changed)
    return stored


def _candidates(new: NewReadings, doubtful: Marks) -> dict[int, Candidate]:
    rows = new.open
    rows = rows[doubtful[new.vehicle[rows]]]
    hours = new.sent.engine_hours[rows]
    columns = (rows, new.vehicle_ids[new.vehicle[rows]], new.at_days[rows], new.km[rows], hours)
    return {
        place: Candidate(
            vehicle_id,
            at_days,
            None if isnan(km) else km,
            None if isnan(engine_hours) else engine_hours,
            new.sent.source[place],
            new.sent.reference[place],
        )
        for place, vehicle_id, at_days, km, engine_hours in zip(
            *(column.tolist() for column in columns), strict=True
        )
    }


def _load(
    session: Session, organisation_id: int, new: Candidates, ends: Mapping[int, WindowEnd]
) -> StoredReadings:
    """Load what is stored of the vehicles concerned, as far as it matters; what new rows may repeat, wherever it is."""
    ended = [one for one in new.values() if one.vehicle_id in ends]
    spans = [
        (one.vehicle_id, at - SAME_TIME, at + SAME_TIME)
        for one in ended
        if one.at_days <= ends[one.vehicle_id].last_days + SAME_TIME_DAYS
        for at in (instant_of(one.at_days),)
    ]
    earlier = read_named(session, organisation_id, _names(ended)) + read_between(
        session, organisation_id, spans
    )
    known = _known(earlier, ended)
    fresh = [one for one in new.values() if not known.holds(one)]
    earliest = earliest_times((one.vehicle_id, instant_of(one.at_days)) for one in fresh)
    stored = load_readings(session, organisation_id, earliest, ends)
    unasked = [one for one in fresh if one.vehicle_id in stored.starts and one.vehicle_id not in ends]
    return replace(stored, earlier=earlier + read_named(session, organisation_id, _names(unasked)))


def _names(new: Sequence[Candidate]) -> list[tuple[int, str, str]]:
    """Source and reference of those readings that have one."""
    return [(one.vehicle_id, one.source, one.reference) for one in new if one.reference is not None]


def _known(stored: Sequence[Any], new: Sequence[Candidate]) -> KnownReadings:
    """What is stored that new readings may repeat."""
    known = KnownReadings()
    references = {one.reference for one in new if one.reference is not None}
    known.note_stored(stored, [one.at_days for one in new], references)
    return known


def _without_repeats(new: NewReadings, stored: StoredReadings, candidates: Candidates) -> Candidates:
    """Give repeats their outcome, of rows stored earlier and of rows of this call; the others remain."""
    known = _known([*stored.earlier, *stored.rows], list(candidates.values()))
    remaining = {}
    for place, candidate in candidates.items():
        reason = known.repeat(candidate)
        if reason is None:
            remaining[place] = candidate
        else:
            is_same = reason is ReadingReason.DUPLICATE
            new.close(place, ReadingOutcome.DUPLICATE if is_same else ReadingOutcome.REJECTED, reason)
            if is_same and known.is_discarded(candidate):
                new.outcomes.note(place, DISCARDED_ALREADY)
    return remaining


def _note_ends(
    new: NewReadings, ends: ReadingEnds, stored: StoredReadings, candidates: Candidates, changed: set[int]
) -> None:
    """Find the ends anew; those of vehicles of which stored readings are judged otherwise now are left open."""
    entries: dict[int, list[EndEntry]] = {}
    for place, one in candidates.items():
        if new.outcomes.is_stored[place]:
            entries.setdefault(one.vehicle_id, []).append(_end_entry(new, place, one))
    for row in stored.rows:
        if row[1] in entries:
            entries[row[1]].append(EndEntry.of_stored(row))
    for key, own in entries.items():
        at = np.searchsorted(new.vehicle_ids, key)
        ends[at] = (blank_ends(1) if key in changed else end_of(own, stored.starts.get(key)))[0]


def _end_entry(new: NewReadings, place: int, one: Candidate) -> EndEntry:
    is_used = new.outcomes.outcome[place] == ACCEPTED and one.km is not None
    used_km = float(new.used_km[place]) if is_used else None
    return EndEntry(one.at_days, one.km, used_km, is_used and REASONS[new.outcomes.reason[place]] in PLAIN)
