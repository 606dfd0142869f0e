"""Register vehicles, change them, take them out of use."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlmodel import Session

from service.domain.duties import Duty
from service.domain.external_ids import IdKind, parse_id
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_classes import VehicleClass
from service.domain.vehicle_life import require_in_use, require_start
from service.domain.vin import vin_warning
from service.errors import DuplicateError, InvalidInputError
from service.store.repositories import fleet
from service.store.repositories.depots import add_depot_once
from service.store.repositories.machine_matches import vehicles_with_vin
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.organisation import Depot
from service.store.tables.vehicles import Vehicle
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fleet.required_fields import refuse_nothing
from service.usecases.fluids.update_states import update_states
from service.usecases.visits.pin_visits import drop_pin
from service.usecases.week.catch_up import LEFT
from service.usecases.week.mark_lines import drop_lines

DEFAULT_BAY_MINUTES: Final = (480, 480, 480, 480, 480, 0, 0)
"""One bay, eight hours, Monday to Friday."""

ALL_WEEKDAYS: Final = 127
MOST_NAMED: Final = 5
"""Vehicles that one warning names."""

MAY_BE_NOTHING: Final = frozenset({"vin", "in_service_on", "available_weekdays"})


@dataclass(frozen=True, slots=True, kw_only=True)
class NewVehicle:
    """What is known of a vehicle to register."""

    reference: str
    vehicle_class: VehicleClass
    depot: str = "Main"
    duty: Duty = Duty.NORMAL
    odometer_unit: DistanceUnit = DistanceUnit.KM
    vin: str | None = None
    in_service_on: date | None = None
    available_weekdays: tuple[int, ...] | None = None


def register_vehicle(session: Session, caller: Caller, now: datetime, new: NewVehicle) -> Vehicle:
    """Register a vehicle; a depot that is not known yet is made.

    Raises
    ------
    DuplicateError
        If a vehicle in use has this number.
    """
    caller.require(Scope.PLANNING)
    _require_free_reference(session, caller, new.reference)
    require_start("/in_service_on", new.in_service_on, now.date())
    vehicle = Vehicle(
        organisation_id=caller.organisation_id,
        depot_id=_depot_id(session, caller, now, new.depot),
        reference=new.reference,
        vehicle_class=new.vehicle_class,
        duty=new.duty,
        odometer_unit=new.odometer_unit,
        vin=new.vin,
        in_service_on=new.in_service_on,
        available_weekdays=weekday_mask(new.available_weekdays),
        created_at=now,
    )
    session.add(vehicle)
    session.flush()
    record_change(session, caller, now, "registered", "vehicle", vehicle.id, {"vehicle": vehicle.reference})
    return vehicle


def change_vehicle(
    session: Session, caller: Caller, now: datetime, reference: str, changes: Mapping[str, Any]
) -> Vehicle:
    """Change what `changes` names: reference, vehicle_class, depot, duty, odometer_unit, vin, in_service_on, …."""
    caller.require(Scope.PLANNING)
    refuse_nothing(changes, MAY_BE_NOTHING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    require_in_use(vehicle.reference, vehicle.retired_at)
    require_start("/in_service_on", changes.get("in_service_on"), now.date())
    before: dict[str, Any] = {}
    for name, value in changes.items():
        before[name] = _apply(session, caller, now, vehicle, name, value)
    vehicle.version += 1
    session.add(vehicle)
    session.flush()
    after = {name: _plain(value) for name, value in changes.items()}
    record_change(session, caller, now, "changed", "vehicle", vehicle.id, {"before": before, "after": after})
    update_states(session, caller.organisation_id, [vehicle.id or 0])
    # Usage and due dates rest on the class.
    mark_stale(session, caller.organisation_id, [vehicle.id or 0], now)
    return vehicle


def retire_vehicle(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Take a vehicle out of use; its number is free again, its history stays, and nobody waits for it any more."""
    caller.require(Scope.PLANNING)
    vehicle = fleet.get_vehicle(session, caller.organisation_id, reference)
    if vehicle.retired_at is None:
        fleet.retire_vehicle(session, vehicle, now)
        places = fleet.list_compartments(session, caller.organisation_id, vehicle.id or 0)
        drop_lines(session, caller, now, [place.id or 0 for place in places], LEFT)
        drop_pin(session, caller, vehicle.id or 0)
        record_change(session, caller, now, "retired", "vehicle", vehicle.id, {"vehicle": vehicle.reference})


def vehicles_of_same_vin(session: Session, vehicle: Vehicle) -> list[str]:
    """Find a few other vehicles in use that have the number on this one's plate; give the fleet's own of each."""
    if vehicle.vin is None or vehicle.retired_at is not None:
        return []
    found = vehicles_with_vin(session, vehicle.organisation_id, [vehicle.vin])
    return sorted(reference for _, reference in found if reference != vehicle.reference)[:MOST_NAMED]


def vin_warnings(session: Session, vehicle: Vehicle) -> list[str]:
    """Say what to look at again; outside North America the check digit is not required."""
    if vehicle.vin is None:
        return []
    others = vehicles_of_same_vin(session, vehicle)
    shared = f"The same identification number is told of {', '.join(others)}; compare it with the plates."
    return [*([shared] if others else []), *filter(None, [vin_warning(vehicle.vin)])]


def weekday_mask(weekdays: Iterable[int] | None) -> int:
    """Write ISO weekdays as bits, Monday the lowest; all if not given."""
    return ALL_WEEKDAYS if weekdays is None else sum(1 << (day - 1) for day in set(weekdays))


def _apply(session: Session, caller: Caller, now: datetime, vehicle: Vehicle, name: str, value: Any) -> Any:
    if name == "depot":
        before, vehicle.depot_id = vehicle.depot_id, _depot_id(session, caller, now, value)
        return before
    if name == "available_weekdays":
        before, vehicle.available_weekdays = vehicle.available_weekdays, weekday_mask(value)
        return before
    if name == "reference" and value != vehicle.reference:
        _require_free_reference(session, caller, value)
    before = getattr(vehicle, name)
    setattr(vehicle, name, value)
    return _plain(before)


def _require_free_reference(session: Session, caller: Caller, reference: str) -> None:
    if fleet.find_vehicle(session, caller.organisation_id, reference) is not None:
        raise DuplicateError(f"A vehicle with the number “{reference}” is in use already.")


def _depot_id(session: Session, caller: Caller, now: datetime, reference: str) -> int:
    depot = fleet.find_depot(session, caller.organisation_id, reference)
    if depot is None and parse_id(IdKind.DEPOT, reference) is not None:
        raise InvalidInputError.at("/depot", "There is no depot with this id.")
    if depot is None:
        new = Depot(
            organisation_id=caller.organisation_id,
            reference=reference,
            bay_minutes=list(DEFAULT_BAY_MINUTES),
            created_at=now,
        )
        depot, is_new = add_depot_once(session, new)
        if is_new:
            record_change(session, caller, now, "made", "depot", depot.id, {"depot": reference})
    assert depot.id is not None  # noqa: S101 - flushed
    return depot.id


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
