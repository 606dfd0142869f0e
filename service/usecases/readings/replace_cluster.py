"""Record that a vehicle got another instrument cluster: its numbers start anew, its distance goes on."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet, readings
from service.store.repositories.intake import NewRow, insert_readings
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.readings import Reading
from service.store.tables.vehicles import Vehicle
from service.units import km_from_miles
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.readings.reading_windows import load_readings
from service.usecases.readings.screen_readings import decide

SOURCE: Final = "cluster"
_OLD, _NEW = "old", "new"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """The last number of the old cluster and the first of the new one, read at one time."""

    replaced_at: datetime
    old_odometer: float
    new_odometer: float
    unit: DistanceUnit | None = None


def replace_cluster(
    session: Session, caller: Caller, now: datetime, vehicle_reference: str, replacement: Replacement
) -> list[Reading]:
    """Store both numbers as readings that somebody vouches for; what was held since is judged anew.

    Raises
    ------
    DuplicateError
        If a replacement at this time is recorded already.
    """
    caller.require(Scope.PLANNING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, vehicle_reference)
    vehicle_id = vehicle.id or 0
    fleet.lock_vehicles(session, caller.organisation_id, [vehicle_id])
    at = plausibility.past_instant("/replaced_at", replacement.replaced_at, now)
    at = at.astimezone(replacement.replaced_at.tzinfo)
    references = [f"{at.timestamp():.3f} {which}" for which in (_OLD, _NEW)]
    if _stored(session, caller, vehicle_id, references):
        raise DuplicateError("A replacement of the cluster at this time is recorded already.")
    values = (
        ("old_odometer", replacement.old_odometer, ReadingReason.RELEASED),
        ("new_odometer", replacement.new_odometer, ReadingReason.CLUSTER_REPLACED),
    )
    rows = [
        _row(caller, now, vehicle, replacement, at)
        | {"odometer": number, "odometer_km": _km(name, number, vehicle, replacement)}
        | {"reason": reason, "reference": reference}
        for (name, number, reason), reference in zip(values, references, strict=True)
    ]
    insert_readings(session, [NewRow(**row) for row in rows])
    changed = {vehicle_id: at}
    decide(session, caller, now, load_readings(session, caller.organisation_id, changed), [])
    mark_stale(session, caller.organisation_id, [vehicle_id], now, changed)
    detail = {"at": at.isoformat(), "old_km": rows[0]["odometer_km"], "new_km": rows[1]["odometer_km"]}
    record_change(session, caller, now, "cluster replaced", "vehicle", vehicle_id, detail)
    return _stored(session, caller, vehicle_id, references)


def reason_of_release(reading: Reading) -> ReadingReason:
    """What releasing a reading says: that it is right, or that it is the first of a new cluster."""
    is_new = reading.source == SOURCE and (reading.reference or "").endswith(_NEW)
    return ReadingReason.CLUSTER_REPLACED if is_new else ReadingReason.RELEASED


def _stored(session: Session, caller: Caller, vehicle_id: int, references: list[str]) -> list[Reading]:
    found = [
        reading
        for reference in references
        for reading in readings.list_readings(
            session, caller.organisation_id, vehicle_id=vehicle_id, reference=reference
        )
    ]
    return [reading for reading in found if reading.source == SOURCE]


def _km(name: str, number: float, vehicle: Vehicle, replacement: Replacement) -> float:
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
        "engine_hours": None,
        "used_hours": None,
        "source": SOURCE,
        "outcome": ReadingOutcome.ACCEPTED,
        "decided_by": caller.actor[:80],
        "received_at": now,
    }
