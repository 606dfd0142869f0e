"""Decide which readings to believe: stored ones and new ones of some vehicles together, in the order of time."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.engine.screening.outcomes import Outcome, Reason, Verdict
from service.engine.screening.screen import Entries, Screening, screen_readings
from service.store.repositories import readings
from service.usecases.engine_time import days_of, instant_of
from service.usecases.usage_model import known_usage, vehicle_classes

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

ROUNDING: Final = timedelta(milliseconds=1)
"""Instants that went through days as a float are this exact, and better."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What was decided about one reading."""

    outcome: ReadingOutcome
    reason: ReadingReason | None
    used_km: float | None
    suggested_km: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewEntry:
    """An odometer value that is not stored yet."""

    vehicle_id: int
    at_days: float
    odometer_km: float


def decide(
    session: Session, organisation_id: int, now: datetime, stored: Sequence[Any], new: Sequence[NewEntry]
) -> list[Decision]:
    """Screen the new entries with what is stored of their vehicles; stored verdicts that change are updated.

    `stored` holds rows of `readings.read_entries` for every vehicle concerned.
    """
    old = [row for row in stored if row[3] is not None]
    n_old = len(old)
    vehicle = np.array([row[1] for row in old] + [entry.vehicle_id for entry in new], dtype=np.int64)
    time = np.array([row[2] for row in old] + [entry.at_days for entry in new], dtype=np.float64)
    keyed = np.array([row[3] for row in old] + [entry.odometer_km for entry in new], dtype=np.float64)
    received = np.array([row[8] for row in old] + [days_of(now)] * len(new), dtype=np.float64)
    verdict = np.array([_verdict(row) for row in old] + [Verdict.NONE] * len(new), dtype=np.int8)
    order = np.lexsort((np.arange(vehicle.size), time, vehicle))
    offsets = _offsets(vehicle[order])
    entries = Entries(
        time_days=time[order],
        keyed_km=keyed[order],
        offsets=offsets,
        received_days=received[order],
        verdict=verdict[order],
        prior_rate=_prior_rates(session, organisation_id, vehicle[order][offsets[:-1]]),
        fleet_km=np.zeros(0),
    )
    decisions = _decisions(screen_readings(entries), order)
    changed = list(_changed(old, decisions[:n_old]))
    readings.update_verdicts(session, [values for _, values in changed])
    earliest = earliest_times((row[1], instant_of(row[2]) - ROUNDING) for row, _ in changed)
    readings.mark_stale(session, organisation_id, sorted(earliest), now, earliest)
    return decisions[n_old:]


def earliest_times(pairs: Iterable[tuple[int, datetime]]) -> dict[int, datetime]:
    """Earliest time of each vehicle."""
    earliest: dict[int, datetime] = {}
    for vehicle_id, at in pairs:
        earliest[vehicle_id] = min(at, earliest.get(vehicle_id, at))
    return earliest


def _verdict(row: Any) -> Verdict:
    if row[6] is None:
        return Verdict.NONE
    return Verdict.RELEASED if row[5] == ReadingReason.RELEASED else Verdict.DISCARDED


def _prior_rates(
    session: Session, organisation_id: int, vehicle_ids: NDArray[np.int64]
) -> NDArray[np.float64]:
    ids = vehicle_ids.tolist()
    classes = vehicle_classes(session, organisation_id, ids)
    return np.asarray(np.exp(known_usage(session, organisation_id).odometer_priors(classes).log_rate))


def _offsets(vehicle: NDArray[np.int64]) -> NDArray[np.int64]:
    starts = np.flatnonzero(np.diff(vehicle, prepend=-1))
    return np.concatenate((starts, [vehicle.size])).astype(np.int64)


def _decisions(screening: Screening, order: NDArray[np.int64]) -> list[Decision]:
    decisions: list[Decision | None] = [None] * order.size
    rows = zip(
        order.tolist(),
        screening.outcome.tolist(),
        screening.reason.tolist(),
        screening.odometer_km.tolist(),
        screening.suggested_km.tolist(),
        strict=True,
    )
    for place, outcome, reason, odometer, suggested in rows:
        is_accepted = outcome == Outcome.ACCEPTED
        decisions[place] = Decision(
            outcome=OUTCOME_BY_CODE[outcome],
            reason=REASON_BY_CODE[reason],
            used_km=odometer if is_accepted else None,
            suggested_km=None if is_accepted or np.isnan(suggested) else suggested,
        )
    return [decision for decision in decisions if decision is not None]


def _changed(old: Sequence[Any], decisions: Sequence[Decision]) -> Iterator[tuple[Any, dict[str, Any]]]:
    """Stored readings of which screening now thinks otherwise; what a person decided keeps its reason."""
    for row, decision in zip(old, decisions, strict=True):
        outcome, reason = str(decision.outcome), decision.reason
        if row[6] is not None:
            outcome, reason = row[4], ReadingReason(row[5])
        if (row[4], row[7]) != (outcome, decision.used_km) or (row[5] or None) != reason:
            yield row, {"id": row[0], "outcome": outcome, "reason": reason, "used_km": decision.used_km}
