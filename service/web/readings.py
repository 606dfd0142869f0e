"""A reading as it is typed into a form."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome
from service.domain.units_of_distance import DistanceUnit
from service.errors import FieldError, InvalidInputError
from service.store.tables.vehicles import Vehicle
from service.units import km_from_miles
from service.usecases.access.caller import Caller
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import record_rows
from service.web.forms import FormReader, Posted


def read_reading(
    posted: Posted, owner: Vehicle, zone: ZoneInfo, source: str, instead_of_a_time: datetime | None = None
) -> ReadingRow:
    """Read a form with odometer, engine hours, unit and time; the time may be left empty if one stands in for it.

    Raises
    ------
    InvalidInputError
        Naming every field that cannot be right.
    """
    reader = FormReader(posted)
    unit = reader.choice("unit", DistanceUnit, DistanceUnit(owner.odometer_unit))
    to_km = km_from_miles if unit is DistanceUnit.MI else float
    km = reader.optional_number("odometer", plausibility.ODOMETER_KM, to_base=to_km)
    hours = reader.optional_number("engine_hours", plausibility.ENGINE_HOURS)
    taken_at = reader.moment("taken_at", zone, instead_of_a_time)
    if km is None and hours is None and not reader.errors:
        reader.errors.append(FieldError("/odometer", "Fill in the odometer or the engine hours."))
    reader.finish()
    return ReadingRow(
        vehicle=format_id(IdKind.VEHICLE, owner.id),
        taken_at=taken_at,
        odometer=None if km is None else round(unit.of_km(km), 3) if unit is DistanceUnit.MI else km,
        unit=unit,
        engine_hours=hours,
        source=source,
    )


def store_reading(session: Session, caller: Caller, now: datetime, row: ReadingRow) -> ReadingOutcome:
    """Store one reading and say what became of it.

    Raises
    ------
    InvalidInputError
        If it cannot be stored, at the field that is why.
    """
    (result,) = record_rows(session, caller, now, [row])
    if result.outcome is ReadingOutcome.REJECTED:
        told = result.detail or (REASON_TEXTS[result.reason].sentence if result.reason else "")
        field = "/taken_at" if result.detail else "/odometer"
        raise InvalidInputError("The reading could not be saved.", [FieldError(field, told)])
    return result.outcome
