"""Judge values of machine meters on the series of each meter alone, whatever the dashboard says."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.machine_meters import Meter
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.plausibility import hours_run_on
from service.domain.vehicle_classes import VehicleClass
from service.engine.screening.outcomes import Verdict
from service.engine.screening.screen import Entries, screen_readings
from service.store.tables.machine_sources import MachineMeter, MachineReading
from service.usecases.readings.screen_readings import OUTCOME_BY_CODE, REASON_BY_CODE
from service.usecases.usage.engine_time import days_of
from service.usecases.usage.usage_model import known_usage

UNKNOWN_CLASS: Final = VehicleClass.VAN
"""Taken for a machine that is no vehicle of the fleet yet; it decides how far apart two values may be."""

VERDICT_BY_REASON: Final = {
    ReadingReason.RELEASED: Verdict.RELEASED,
    ReadingReason.DISCARDED: Verdict.DISCARDED,
    ReadingReason.CLUSTER_REPLACED: Verdict.RENEWED,
}
REASON_BY_VERDICT: Final = {Verdict.NONE: None} | {
    verdict: reason for reason, verdict in VERDICT_BY_REASON.items()
}


@dataclass(slots=True, kw_only=True)
class SeriesValue:
    """A value of a series, stored or new, with what is decided about it."""

    taken_at: datetime
    continued: float
    stored: MachineReading | None = None
    place: int | None = None
    """Where it stands in what was sent."""

    outcome: ReadingOutcome = ReadingOutcome.ACCEPTED
    reason: ReadingReason | None = None


@dataclass(slots=True, kw_only=True)
class Series:
    """One meter and its last values, stored and new, in the order of time."""

    meter: MachineMeter
    vehicle_class: str | None
    values: list[SeriesValue]


def screen_series(session: Session, organisation_id: int, now: datetime, series: Sequence[Series]) -> None:
    """Write outcome, reason and continued number into every value of every series."""
    odometers = [one for one in series if one.meter.meter == Meter.ODOMETER]
    if odometers:
        _screen_odometers(session, organisation_id, now, odometers)
    for one in series:
        if one.meter.meter == Meter.ENGINE_HOURS:
            _screen_hours(one.values)


def _screen_odometers(
    session: Session, organisation_id: int, now: datetime, series: Sequence[Series]
) -> None:
    values = [value for one in series for value in one.values]
    counts = np.array([len(one.values) for one in series], dtype=np.int64)
    known = known_usage(session, organisation_id)
    classes = [one.vehicle_class or UNKNOWN_CLASS for one in series]
    screening = screen_readings(
        Entries(
            time_days=np.array([days_of(value.taken_at) for value in values]),
            keyed_km=np.array([value.continued for value in values]),
            offsets=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
            received_days=np.full(len(values), days_of(now)),
            verdict=np.array([code for one in series for code in _verdicts(one.values)], dtype=np.int8),
            prior_rate=np.exp(known.odometer_priors(classes).log_rate),
            fleet_km=np.zeros(0),
        )
    )
    for value, outcome, reason, odometer in zip(
        values,
        screening.outcome.tolist(),
        screening.reason.tolist(),
        screening.odometer_km.tolist(),
        strict=True,
    ):
        value.outcome = OUTCOME_BY_CODE[outcome]
        value.reason = REASON_BY_VERDICT[_decided(value)] or REASON_BY_CODE[reason]
        if value.outcome is ReadingOutcome.ACCEPTED:
            value.continued = odometer


def _verdicts(values: Sequence[SeriesValue]) -> list[Verdict]:
    """What people decided; the first believed value of what is looked at stays believed: the rest is judged by it."""
    begin = next((place for place, value in enumerate(values) if _is_believed(value)), None)
    return [Verdict.RELEASED if place == begin else _decided(value) for place, value in enumerate(values)]


def _decided(value: SeriesValue) -> Verdict:
    if value.stored is None or value.stored.decided_by is None:
        return Verdict.NONE
    return VERDICT_BY_REASON[ReadingReason(value.stored.reason or "")]


def _is_believed(value: SeriesValue) -> bool:
    return value.stored is not None and value.stored.outcome == ReadingOutcome.ACCEPTED


def _screen_hours(values: Sequence[SeriesValue]) -> None:
    before: SeriesValue | None = None
    shift = 0.0
    for value in values:
        verdict = _decided(value)
        if verdict is Verdict.DISCARDED:
            value.outcome, value.reason = ReadingOutcome.REJECTED, ReadingReason.DISCARDED
            continue
        if verdict is Verdict.RENEWED and before is not None:
            shift = before.continued - value.continued
        value.continued += shift
        if verdict is Verdict.NONE and before is not None and not _runs_on(before, value):
            value.outcome, value.reason = ReadingOutcome.HELD, ReadingReason.IMPLAUSIBLE_HOURS
            continue
        value.outcome, value.reason, before = ReadingOutcome.ACCEPTED, REASON_BY_VERDICT[verdict], value


def _runs_on(before: SeriesValue, value: SeriesValue) -> bool:
    days = days_of(value.taken_at) - days_of(before.taken_at)
    return hours_run_on(before.continued, value.continued, days)
