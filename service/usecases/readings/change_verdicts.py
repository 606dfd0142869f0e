"""Stored readings of which later ones make screening think otherwise: what changes, and that it did."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from math import isclose
from typing import Any, Final, NamedTuple

from sqlmodel import Session

from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.store.repositories import readings
from service.store.repositories.stale_vehicles import mark_stale
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.readings.reading_windows import StoredReadings, earliest_times
from service.usecases.usage.engine_time import instant_of

MOST_LISTED: Final = 100
"""Readings that one entry in the record of changes names; it counts them all."""

ROUNDING: Final = timedelta(milliseconds=1)
"""Instants that went through days as a float are this exact, and better."""

LASTING: Final = frozenset({ReadingReason.OTHER_VEHICLE, ReadingReason.IMPLAUSIBLE_HOURS})
"""Reasons that rest on more than the vehicle's own odometer; they stay as long as the outcome does."""

OutcomeAndReason = tuple[str, str | None]


class Decision(NamedTuple):
    """What was decided about one reading."""

    outcome: ReadingOutcome
    reason: ReadingReason | None
    used_km: float | None
    suggested_km: float | None


def note_changes(
    session: Session,
    caller: Caller,
    now: datetime,
    stored: StoredReadings,
    decided: Sequence[tuple[Any, Decision]],
) -> set[int]:
    """Store the verdicts that changed, say what has to be computed again, and write it down; gives the vehicles."""
    begins = {start.reading_id for start in stored.starts.values()}
    changed = list(_changed([pair for pair in decided if pair[0][0] not in begins]))
    if not changed:
        return set()
    readings.update_verdicts(session, caller.organisation_id, [values for _, values in changed])
    earliest = earliest_times((row[1], instant_of(row[2]) - ROUNDING) for row, _ in changed)
    mark_stale(session, caller.organisation_id, sorted(earliest), now, earliest)
    told = [(row[0], (row[4], row[5]), (str(values["outcome"]), values["reason"])) for row, values in changed]
    tell_changes(session, caller, now, told)
    return set(earliest)


def tell_changes(
    session: Session,
    caller: Caller,
    now: datetime,
    changes: Sequence[tuple[int, OutcomeAndReason, OutcomeAndReason]],
) -> None:
    """Write down which readings are judged otherwise now, given what was said of them before and after."""
    told = [
        {
            "reading": format_id(IdKind.READING, reading_id),
            "before": {"outcome": before[0], "reason": before[1]},
            "after": {"outcome": after[0], "reason": after[1]},
        }
        for reading_id, before, after in changes
        if before != after
    ]
    if told:
        detail = {"n_readings": len(told), "readings": told[:MOST_LISTED]}
        record_change(session, caller, now, "judged anew", "reading", None, detail)


def _changed(decided: Sequence[tuple[Any, Decision]]) -> Iterator[tuple[Any, dict[str, Any]]]:
    """Readings of which screening now thinks otherwise; what a person decided keeps its reason."""
    for row, decision in decided:
        outcome, reason = str(decision.outcome), decision.reason
        before = None if row[5] is None else ReadingReason(row[5])
        if row[6] is not None:
            outcome, reason = row[4], before
        elif row[4] == outcome and before in LASTING:
            reason = before
        if (row[4], before) != (outcome, reason) or not _same(row[7], decision.used_km):
            yield row, {"id": row[0], "outcome": outcome, "reason": reason, "used_km": decision.used_km}


def _same(stored_km: float | None, used_km: float | None) -> bool:
    if stored_km is None or used_km is None:
        return stored_km is used_km
    return isclose(stored_km, used_km, rel_tol=0.0, abs_tol=1e-6)
