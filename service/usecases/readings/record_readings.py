"""Record readings in bulk: every row gets an outcome, and one bad row never loses the good ones."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

import numpy as np
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.domain.roles import Scope
from service.errors import InvalidInputError
from service.store.instants import aware_instants
from service.store.repositories.intake import NewColumns, insert_reading_columns
from service.store.repositories.reading_windows import read_named
from service.store.repositories.stale_vehicles import mark_read, mark_stale
from service.usecases.access.caller import Caller
from service.usecases.readings.before_life import refuse_before_life
from service.usecases.readings.doubtful_vehicles import judge_doubtful
from service.usecases.readings.new_readings import NewReadings, read_new
from service.usecases.readings.reading_columns import ReadingColumns, ReadingRow
from service.usecases.readings.reading_ends import ReadingEnds, is_known
from service.usecases.readings.readings_of_records import close_rows_of_records, places_of_records
from service.usecases.readings.row_outcomes import OUTCOME_NAMES, REASON_NAMES, Marks, RowOutcomes, RowResult
from service.usecases.readings.screen_hours import check_new_hours
from service.usecases.readings.settled_vehicles import judge_settled, may_be_settled
from service.usecases.usage.usage_model import known_usage

MAX_ROWS: Final = 10_000
"""Rows of one call, and of one transaction of a file."""


def record_readings(session: Session, caller: Caller, now: datetime, sent: ReadingColumns) -> RowOutcomes:
    """Store the rows that can be stored.

    Held readings are stored and wait for a decision or for a later reading that speaks for them.
    """
    caller.require(Scope.READINGS)
    if len(sent) > MAX_ROWS:
        raise InvalidInputError.at(
            "/readings", f"At most {MAX_ROWS} readings a call; send the rest in another one."
        )
    return _store(session, caller, now, sent, places_of_records(sent.source))


def record_rows(
    session: Session, caller: Caller, now: datetime, rows: Sequence[ReadingRow]
) -> list[RowResult]:
    """Do the same with a few rows."""
    return list(record_readings(session, caller, now, ReadingColumns.of_rows(rows)))


def store_readings(
    session: Session, caller: Caller, now: datetime, rows: Sequence[ReadingRow]
) -> list[RowResult]:
    """Do the work of `record_rows` for whoever has read a meter in the course of other work."""
    return list(_store(session, caller, now, ReadingColumns.of_rows(rows), ()))


def _store(
    session: Session, caller: Caller, now: datetime, sent: ReadingColumns, of_records: Sequence[int]
) -> RowOutcomes:
    """Store what is new, and if the key of the table finds a reference that is stored already, look for such first.

    `of_records` are the places of rows that say they came with a record, and did not.
    """
    try:
        with session.begin_nested():
            new, ends = _judge_and_insert(session, caller, now, sent, of_records, are_references_new=True)
    except IntegrityError:
        new, ends = _judge_and_insert(session, caller, now, sent, of_records, are_references_new=False)
    _mark(session, caller.organisation_id, now, new, ends)
    return new.outcomes


def _judge_and_insert(
    session: Session,
    caller: Caller,
    now: datetime,
    sent: ReadingColumns,
    of_records: Sequence[int],
    *,
    are_references_new: bool,
) -> tuple[NewReadings, ReadingEnds]:
    organisation_id = caller.organisation_id
    new, ends = read_new(session, caller, now, sent)
    refuse_before_life(now, new)
    if of_records:
        close_rows_of_records(session, organisation_id, new, of_records)
    may_be = may_be_settled(new, ends)
    if not are_references_new:
        may_be &= ~_with_known_reference(session, organisation_id, new, may_be)
    prior_rate = np.exp(known_usage(session, organisation_id).odometer_priors(new.classes).log_rate)
    is_settled = judge_settled(new, ends, prior_rate, may_be)
    stored = judge_doubtful(session, caller, now, new, ends, ~is_settled)
    check_new_hours(session, organisation_id, new, ends, stored.rows)
    _insert(session, organisation_id, now, new)
    return new, ends


def _with_known_reference(session: Session, organisation_id: int, new: NewReadings, asked: Marks) -> Marks:
    """Mark the vehicles that sent a reference which is stored already."""
    rows = new.open
    rows = rows[asked[new.vehicle[rows]]]
    keys = new.vehicle_ids[new.vehicle[rows]].tolist()
    names = [
        (key, new.sent.source[place], reference)
        for key, place in zip(keys, rows.tolist(), strict=True)
        if (reference := new.sent.reference[place]) is not None
    ]
    found = {row[1] for row in read_named(session, organisation_id, names)}
    return np.isin(new.vehicle_ids, list(found))


def _insert(session: Session, organisation_id: int, now: datetime, new: NewReadings) -> None:
    kept = np.flatnonzero(new.outcomes.is_stored)
    places = kept.tolist()

    def listed(column: Sequence[Any]) -> Sequence[Any]:
        return column if len(places) == len(column) else [column[place] for place in places]

    sent, outcomes = new.sent, new.outcomes
    columns = NewColumns(
        vehicle_id=new.vehicle_ids[new.vehicle[kept]],
        taken_at=new.taken_us[kept].astype("datetime64[us]"),
        utc_offset_minutes=sent.taken_at.offset_minutes[kept],
        odometer=sent.odometer[kept],
        unit=listed(new.unit),
        odometer_km=new.km[kept],
        used_km=new.used_km[kept],
        engine_hours=sent.engine_hours[kept],
        used_hours=new.used_hours[kept],
        source=listed(sent.source),
        reference=listed(sent.reference),
        outcome=[OUTCOME_NAMES[code] for code in outcomes.outcome[kept].tolist()],
        reason=[REASON_NAMES[code] for code in outcomes.reason[kept].tolist()],
    )
    insert_reading_columns(session, organisation_id, now, columns)


def _mark(session: Session, organisation_id: int, now: datetime, new: NewReadings, ends: ReadingEnds) -> None:
    """Say that the states of the vehicles have to be computed again, from their earliest new reading on."""
    kept = np.flatnonzero(new.outcomes.is_stored)
    owners = new.vehicle[kept]
    earliest_us = np.full(new.vehicle_ids.size, np.iinfo(np.int64).max)
    np.minimum.at(earliest_us, owners, new.taken_us[kept])
    earliest = earliest_us.astype("datetime64[us]")
    is_touched = np.bincount(owners, minlength=new.vehicle_ids.size) > 0
    known, unknown = is_touched & is_known(ends), is_touched & ~is_known(ends)
    mark_read(session, organisation_id, now, new.vehicle_ids[known], earliest[known], ends[known].tobytes())
    others = new.vehicle_ids[unknown].tolist()
    changed_from = dict(zip(others, aware_instants(earliest[unknown]), strict=True))
    mark_stale(session, organisation_id, others, now, changed_from)
