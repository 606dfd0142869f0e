"""Take what a machine source reports: kept as it was sent, judged on its own series, passed on to the vehicles.

A source that jumps is held in its own series and disturbs nobody's projection; what is believed becomes a reading of
the vehicle once the organisation has said which vehicle it is and the offset to its dashboard is known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.machine_meters import MachineValue, Meter, ValueUse
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.domain.plausibility import Bounds
from service.errors import InvalidInputError
from service.store.repositories import machine_sources
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineReading, MachineSource
from service.usecases.access.caller import Caller
from service.usecases.machines.pass_on_values import pass_on_values
from service.usecases.machines.screen_machine_values import Series, SeriesValue, screen_series
from service.usecases.usage.usage_model import vehicle_classes

BOUNDS: Final[Mapping[Meter, Bounds]] = {
    Meter.ODOMETER: plausibility.ODOMETER_KM,
    Meter.ENGINE_HOURS: plausibility.ENGINE_HOURS,
}
COARSER: Final = "A finer signal of this machine is used."


@dataclass(slots=True)
class ValueResult:
    """What became of one value."""

    outcome: ReadingOutcome
    reason: ReadingReason | None = None
    detail: str | None = None

    @property
    def sentence(self) -> str | None:
        """What to say about it, if there is anything."""
        if self.detail is not None or self.reason is None:
            return self.detail
        told = REASON_TEXTS[self.reason]
        return told.sentence if self.outcome is ReadingOutcome.HELD else told.meaning


def take_values(
    session: Session, caller: Caller, now: datetime, source: MachineSource, values: Sequence[MachineValue]
) -> list[ValueResult]:
    """Store, judge and pass on values of a source that is locked; results in the order of the values."""
    equipment = _equipment(session, now, source, values)
    meters = _meters(session, source, equipment, values)
    results = [_refuse(value, now) for value in values]
    fresh = {
        place: meters[_id_of(equipment[value.equipment]), value.meter]
        for place, value in enumerate(values)
        if results[place] is None
    }
    _leave_out(session, source, values, fresh, results)
    series = _series(session, source, equipment, values, fresh)
    screen_series(session, source.organisation_id, now, series)
    _keep(session, now, series, values, results)
    for place, value in enumerate(values):
        result = results[place]
        assert result is not None  # noqa: S101 - each was refused, left out or screened
        _count(meters[_id_of(equipment[value.equipment]), value.meter], result.outcome)
    source.last_heard_at = now
    session.add(source)
    session.flush()
    pass_on_values(session, caller, now, source, list(equipment.values()))
    return [result for result in results if result is not None]


def _equipment(
    session: Session, now: datetime, source: MachineSource, values: Sequence[MachineValue]
) -> dict[str, MachineEquipment]:
    """Machines that are spoken of; new ones are noted, for a person to say which vehicles they are."""
    told = {value.equipment: value for value in values}
    found = machine_sources.equipment_by_reference(session, source.organisation_id, source.id or 0, told)
    for reference, value in told.items():
        row = found.setdefault(
            reference,
            MachineEquipment(
                organisation_id=source.organisation_id,
                source_id=source.id or 0,
                reference=reference,
                first_seen_at=now,
                last_seen_at=now,
            ),
        )
        row.description = value.description or row.description
        row.identification = value.identification or row.identification
        row.last_seen_at = now
        session.add(row)
    session.flush()
    return found


def _meters(
    session: Session,
    source: MachineSource,
    equipment: Mapping[str, MachineEquipment],
    values: Sequence[MachineValue],
) -> dict[tuple[int, str], MachineMeter]:
    found = machine_sources.meters_of(session, source.organisation_id, map(_id_of, equipment.values()))
    for value in values:
        key = (_id_of(equipment[value.equipment]), value.meter)
        if key not in found:
            found[key] = MachineMeter(
                organisation_id=source.organisation_id, equipment_id=key[0], meter=value.meter
            )
        meter = found[key]
        if value.resolution and (not meter.resolution or value.resolution < meter.resolution):
            meter.resolution = value.resolution
        session.add(meter)
    session.flush()
    return found


def _refuse(value: MachineValue, now: datetime) -> ValueResult | None:
    bounds = BOUNDS[value.meter]
    if not bounds.hold(value.value):
        return ValueResult(ReadingOutcome.REJECTED, ReadingReason.OUT_OF_RANGE)
    try:
        plausibility.past_instant("/taken_at", value.taken_at, now)
    except InvalidInputError as error:
        is_future = value.taken_at.year <= plausibility.LAST_DAY.year and value.taken_at > now
        reason = ReadingReason.FUTURE if is_future else ReadingReason.TOO_OLD
        return ValueResult(ReadingOutcome.REJECTED, reason, error.detail)
    return None


def _leave_out(
    session: Session,
    source: MachineSource,
    values: Sequence[MachineValue],
    fresh: dict[int, MachineMeter],
    results: list[ValueResult | None],
) -> None:
    """Take out what is known already, and the coarser one of two signals."""
    if not fresh:
        return
    instants = [values[place].taken_at.astimezone(UTC) for place in fresh]
    known = machine_sources.values_at(
        session, source.organisation_id, [meter.id or 0 for meter in fresh.values()], instants
    )
    for place, meter in list(fresh.items()):
        key = (meter.id or 0, values[place].taken_at.astimezone(UTC))
        is_coarser = values[place].resolution > meter.resolution
        if key in known or is_coarser:
            detail = COARSER if is_coarser else None
            results[place] = ValueResult(ReadingOutcome.DUPLICATE, ReadingReason.DUPLICATE, detail)
            del fresh[place]
        known.add(key)


def _series(
    session: Session,
    source: MachineSource,
    equipment: Mapping[str, MachineEquipment],
    values: Sequence[MachineValue],
    fresh: Mapping[int, MachineMeter],
) -> list[Series]:
    """Put new values among the last stored ones of their meters."""
    meters = {meter.id or 0: meter for meter in fresh.values()}
    stored = machine_sources.latest_values(session, source.organisation_id, meters)
    vehicle_of = {_id_of(row): row.vehicle_id for row in equipment.values()}
    vehicle_ids = sorted({key for key in vehicle_of.values() if key is not None})
    class_of = dict(
        zip(
            vehicle_ids,
            vehicle_classes(session, source.organisation_id, vehicle_ids) if vehicle_ids else [],
            strict=True,
        )
    )
    series = {
        key: Series(
            meter=meter,
            vehicle_class=class_of.get(vehicle_of[meter.equipment_id] or 0),
            values=[
                SeriesValue(taken_at=row.taken_at, continued=row.continued, stored=row)
                for row in stored.get(key, ())
            ],
        )
        for key, meter in meters.items()
    }
    for place, meter in fresh.items():
        at = values[place].taken_at.astimezone(UTC)
        told = SeriesValue(taken_at=at, continued=values[place].value + meter.shift, place=place)
        series[meter.id or 0].values.append(told)
    for one in series.values():
        one.values.sort(key=lambda value: value.taken_at)
    return list(series.values())


def _keep(
    session: Session,
    now: datetime,
    series: Sequence[Series],
    values: Sequence[MachineValue],
    results: list[ValueResult | None],
) -> None:
    rows: list[dict[str, Any]] = []
    for one in series:
        for value in one.values:
            if value.place is not None:
                results[value.place] = ValueResult(value.outcome, value.reason)
                rows.append(_row(now, one.meter, values[value.place], value))
        keep_judgements(session, one, values)
    machine_sources.insert_values(session, rows)


def keep_judgements(session: Session, series: Series, values: Sequence[MachineValue] = ()) -> None:
    """Write what is judged of stored values now, and where the series stands; `values` are the new ones in it."""
    for value in series.values:
        if value.stored is not None:
            _judge_anew(session, value.stored, value)
    _note_last(session, series, values)


def _row(now: datetime, meter: MachineMeter, told: MachineValue, value: SeriesValue) -> dict[str, Any]:
    return {
        "organisation_id": meter.organisation_id,
        "meter_id": meter.id,
        "taken_at": value.taken_at,
        "value": told.value,
        "continued": value.continued,
        "outcome": value.outcome,
        "reason": value.reason,
        "use": ValueUse.WAITING,
        "received_at": now,
    }


def _judge_anew(session: Session, row: MachineReading, value: SeriesValue) -> None:
    if (row.outcome, row.reason, row.continued) != (value.outcome, value.reason, value.continued):
        row.outcome, row.reason, row.continued = value.outcome, value.reason, value.continued
        session.add(row)


def _note_last(session: Session, series: Series, values: Sequence[MachineValue]) -> None:
    """Remember the last believed value, and how far the source's own number is behind its continued series."""
    last = next((one for one in reversed(series.values) if one.outcome is ReadingOutcome.ACCEPTED), None)
    if last is None:
        return
    if last.place is not None:
        own = values[last.place].value
    else:
        own = last.stored.value if last.stored is not None else last.continued
    meter = series.meter
    meter.last_value, meter.last_taken_at, meter.shift = own, last.taken_at, last.continued - own
    session.add(meter)


def _count(meter: MachineMeter, outcome: ReadingOutcome) -> None:
    name = f"n_{outcome}"
    setattr(meter, name, getattr(meter, name) + 1)


def _id_of(row: MachineEquipment) -> int:
    return row.id or 0
