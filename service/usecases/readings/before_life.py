"""Rows from before their vehicle was there: a year mistyped, or a sender's clock that began anew."""

from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.vehicle_life import MOST_DAYS_UNUSED, earliest_ordinal, require_in_life
from service.errors import InvalidInputError
from service.usecases.readings.instant_columns import MICROSECOND, MICROSECONDS_PER_MINUTE
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.row_outcomes import RowResult
from service.usecases.usage.engine_time import EPOCH

_DAY_US: Final = timedelta(days=1) // MICROSECOND


def refuse_before_life(now: datetime, new: NewReadings) -> None:
    """Close these rows by the rule for everything else that is recorded of a vehicle.

    What is younger than a vehicle may stand unused is not looked at: hardly any row is older.
    """
    recent_us = (now - timedelta(days=MOST_DAYS_UNUSED) - EPOCH) // MICROSECOND
    old = np.flatnonzero(new.is_open & (new.taken_us < recent_us))
    if old.size == 0:
        return
    local_us = new.taken_us + new.sent.taken_at.offset_minutes * MICROSECONDS_PER_MINUTE
    ordinal, today = local_us // _DAY_US + EPOCH.toordinal(), now.date()
    since = {key: date.fromordinal(day) for key, day in new.since.items()}
    earliest = np.full(new.vehicle_ids.size, earliest_ordinal(None, today))
    for owner in np.flatnonzero(np.isin(new.vehicle_ids, list(since))).tolist():
        earliest[owner] = earliest_ordinal(since[int(new.vehicle_ids[owner])], today)
    for place in old[ordinal[old] < earliest[new.vehicle[old]]].tolist():
        key = int(new.vehicle_ids[new.vehicle[place]])
        result = _refusal(date.fromordinal(int(ordinal[place])), since.get(key), today)
        new.close(place, result.outcome, ReadingReason.TOO_OLD)
        new.outcomes.note(place, result)


def _refusal(day: date, in_service_on: date | None, today: date) -> RowResult:
    detail = None
    try:
        require_in_life("taken_at", day, in_service_on, today)
    except InvalidInputError as error:
        detail = f"taken_at: {error.errors[0].detail}"
    return RowResult(ReadingOutcome.REJECTED, ReadingReason.TOO_OLD, detail)
