"""Rows that say they came with a record: what is stored already is a repeat, and nothing else is taken under its word.

Else they would pass for the record's own reading, be discarded with it, or keep it out by its reference.
"""

from collections.abc import Sequence
from math import isnan
from typing import Final

from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.repositories.reading_windows import read_between
from service.usecases.readings.known_readings import KEPT_SOURCES, SAME_TIME, Numbers, is_same_time
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.row_outcomes import RowResult
from service.usecases.usage.engine_time import instant_of

REFUSED: Final = RowResult(
    ReadingOutcome.REJECTED,
    ReadingReason.MALFORMED,
    f"source: {', '.join(sorted(KEPT_SOURCES))} are kept for what comes with a record, and this is not stored with "
    "one; put a number right at its record, or take another word.",
)


def places_of_records(source: Sequence[str]) -> list[int]:
    """Find the rows of a call that say so."""
    if KEPT_SOURCES.isdisjoint(source):
        return []
    return [place for place, word in enumerate(source) if word in KEPT_SOURCES]


def close_rows_of_records(
    session: Session, organisation_id: int, new: NewReadings, places: Sequence[int]
) -> None:
    """Close these rows: somebody who takes readings out and sends them again finds them stored, also voided ones."""
    days, hours = new.at_days, new.sent.engine_hours
    said: dict[int, tuple[int, float, Numbers]] = {}
    for place in places:
        if new.is_open[place]:
            numbers = (_number(float(new.km[place])), _number(float(hours[place])))
            said[place] = int(new.vehicle_ids[new.vehicle[place]]), float(days[place]), numbers
    spans = [
        (key, at - SAME_TIME, at + SAME_TIME)
        for key, at in {(key, instant_of(at_days)) for key, at_days, _ in said.values()}
    ]
    stored: dict[tuple[int, Numbers], list[float]] = {}
    for row in read_between(session, organisation_id, spans):
        stored.setdefault((row[1], (row[3], row[11])), []).append(row[2])
    for place, (key, at_days, numbers) in said.items():
        if any(is_same_time(at_days, known) for known in stored.get((key, numbers), ())):
            new.close(place, ReadingOutcome.DUPLICATE, ReadingReason.DUPLICATE)
        else:
            new.close(place, REFUSED.outcome, ReadingReason.MALFORMED)
            new.outcomes.note(place, REFUSED)


def _number(value: float) -> float | None:
    return None if isnan(value) else value
