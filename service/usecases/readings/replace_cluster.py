"""Record that a vehicle got another cluster or hour meter: its numbers start anew, what they count goes on."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from service.domain import plausibility
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_life import require_in_life, require_in_use
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, readings
from service.store.repositories.intake import NewRow, insert_readings
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle
from service.units import km_from_miles
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.readings.known_readings import REPLACEMENT_SOURCE
from service.usecases.readings.reading_windows import load_readings
from service.usecases.readings.screen_hours import can_show_hours, judge_hours_anew
from service.usecases.readings.screen_readings import NewEntry, decide, judge_alone
from service.usecases.usage.engine_time import days_of

_OLD, _NEW = "old", "new"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """The last numbers of the old instrument and the first of the new one, read at one time."""

    replaced_at: datetime
    old_odometer: float | None = None
    new_odometer: float | None = None
    unit: DistanceUnit | None = None
    old_engine_hours: float | None = None
    """If nobody read them, the new meter goes on from the last hours that are believed."""

    new_engine_hours: float | None = None


def replace_cluster(
    session: Session, caller: Caller, now: datetime, vehicle_reference: str, replacement: Replacement
) -> list[Reading]:
    """Store the numbers as readings that somebody vouches for; what was held since is judged anew.

    Raises
    ------
    InvalidInputError
        If no new number is given, one belongs to another, the old instrument can hardly have shown this, or the
        vehicle was not there yet.
    DuplicateError
        If a replacement at this time is recorded already.
    """
    caller.require(Scope.PLANNING)
    _check_given(replacement)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, vehicle_reference)
    vehicle_id = vehicle.id or 0
    fleet.lock_vehicles(session, caller.organisation_id, [vehicle_id])
    require_in_use(vehicle.reference, vehicle.retired_at)
    at = plausibility.past_instant("/replaced_at", replacement.replaced_at, now)
    at = at.astimezone(replacement.replaced_at.tzinfo)
    require_in_life("/replaced_at", at.date(), vehicle.in_service_on, now.date())
    references = [f"{at.timestamp():.3f} {which}" for which in (_OLD, _NEW)]
    if _stored(session, caller, vehicle_id, references):
        raise DuplicateError("A replacement of the cluster at this time is recorded already.")
    hours = replacement.old_engine_hours
    if hours is not None and not can_show_hours(session, caller, vehicle_id, at, hours):
        raise InvalidInputError.at(
            "/old_engine_hours",
            "The old meter cannot have come to this from its last believed reading; check the digits and the time, "
            "or discard the readings before it that are wrong.",
        )
    rows = _rows(caller, now, vehicle, replacement, at, references)
    if replacement.old_odometer is not None:
        _require_going_on(session, caller, now, vehicle_id, at, rows[0]["odometer_km"])
    insert_readings(session, [NewRow(**row) for row in rows])
    changed = {vehicle_id: at}
    decide(session, caller, now, load_readings(session, caller.organisation_id, changed), [])
    if replacement.new_engine_hours is not None:
        judge_hours_anew(session, caller, now, vehicle_id, at)
    mark_stale(session, caller.organisation_id, [vehicle_id], now, changed)
    action = "hour meter replaced" if replacement.new_odometer is None else "cluster replaced"
    record_change(session, caller, now, action, "vehicle", vehicle_id, _detail(replacement, rows, at))
    return _stored(session, caller, vehicle_id, references)


def reason_of_release(reading: Reading) -> ReadingReason:
    """What releasing a reading says: that it is right, or that it is the first of a new cluster."""
    is_new = reading.source == REPLACEMENT_SOURCE and (reading.reference or "").endswith(_NEW)
    return ReadingReason.CLUSTER_REPLACED if is_new else ReadingReason.RELEASED


def _require_going_on(
    session: Session, caller: Caller, now: datetime, vehicle_id: int, at: datetime, old_km: float
) -> None:
    """Refuse a last number that as a reading would be held: all that the vehicle does later is counted from it."""
    before = load_readings(session, caller.organisation_id, {vehicle_id: at})
    entry = NewEntry(vehicle_id, days_of(at), old_km)
    decision = judge_alone(session, caller.organisation_id, now, before, entry)
    if decision.outcome is ReadingOutcome.HELD:
        meaning = "" if decision.reason is None else f"{REASON_TEXTS[decision.reason].meaning} "
        raise InvalidInputError.at(
            "/old_odometer",
            f"Does not go on from what was read before. {meaning}Check the digits, the unit and the time; if it is "
            "right, send it as a reading, release it, and record the replacement then.",
        )


def _stored(session: Session, caller: Caller, vehicle_id: int, references: list[str]) -> list[Reading]:
    found = [
        reading
        for reference in references
        for reading in readings.list_readings(
            session, caller.organisation_id, vehicle_id=vehicle_id, reference=reference
        )
    ]
    return [reading for reading in found if reading.source == REPLACEMENT_SOURCE]


def _check_given(replacement: Replacement) -> None:
    old, new = replacement.old_odometer, replacement.new_odometer
    if new is None and replacement.new_engine_hours is None and old is None:
        raise InvalidInputError.at(
            "/new_engine_hours" if replacement.old_engine_hours is not None else "/new_odometer",
            "Give the first number of the new odometer, of the new hour meter, or of both.",
        )
    if (old is None) != (new is None):
        raise InvalidInputError.at(
            "/old_odometer" if old is None else "/new_odometer",
            "The last number of the old odometer and the first of the new one belong together.",
        )
    if replacement.old_engine_hours is not None and replacement.new_engine_hours is None:
        raise InvalidInputError.at("/new_engine_hours", "Give the first hours of the new meter too.")


def _rows(
    caller: Caller,
    now: datetime,
    vehicle: Vehicle,
    replacement: Replacement,
    at: datetime,
    references: list[str],
) -> list[dict[str, Any]]:
    """Rows of the old and the new instrument; one that says nothing is left out."""
    values = (
        ("old_odometer", replacement.old_odometer, replacement.old_engine_hours, ReadingReason.RELEASED),
        (
            "new_odometer",
            replacement.new_odometer,
            replacement.new_engine_hours,
            ReadingReason.CLUSTER_REPLACED,
        ),
    )
    return [
        _row(caller, now, vehicle, replacement, at)
        | {"odometer": number, "odometer_km": _km(name, number, vehicle, replacement)}
        | {"engine_hours": hours, "reason": reason, "reference": reference}
        for (name, number, hours, reason), reference in zip(values, references, strict=True)
        if number is not None or hours is not None
    ]


def _detail(replacement: Replacement, rows: list[dict[str, Any]], at: datetime) -> dict[str, Any]:
    detail: dict[str, Any] = {"at": at.isoformat()}
    if replacement.new_odometer is not None:
        detail |= {"old_km": rows[0]["odometer_km"], "new_km": rows[1]["odometer_km"]}
    if replacement.new_engine_hours is not None:
        detail |= {"old_hours": replacement.old_engine_hours, "new_hours": replacement.new_engine_hours}
    return detail


def _km(name: str, number: float | None, vehicle: Vehicle, replacement: Replacement) -> float | None:
    if number is None:
        return None
    unit = replacement.unit or vehicle.odometer_unit
    km = km_from_miles(number) if unit == DistanceUnit.MI else number
    if not plausibility.ODOMETER_KM.hold(km):
        raise InvalidInputError.at(
            f"/{name}", "This cannot be on an instrument; check the digits and the unit."
        )
    return km


def _row(
    caller: Caller, now: datetime, vehicle: Vehicle, replacement: Replacement, at: datetime
) -> dict[str, Any]:
    offset = at.utcoffset() or timedelta(0)
    return {
        "organisation_id": caller.organisation_id,
        "vehicle_id": vehicle.id,
        "taken_at": at,
        "utc_offset_minutes": int(offset.total_seconds() // 60),
        "unit": replacement.unit or vehicle.odometer_unit,
        "used_km": None,
        "used_hours": None,
        "source": REPLACEMENT_SOURCE,
        "outcome": ReadingOutcome.ACCEPTED,
        "decided_by": caller.actor[:80],
        "received_at": now,
    }
