"""Record what was done to a vehicle: stock is drawn, states follow, lines of the due list are ticked off."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.visual_grades import parse_grade
from service.errors import StateTransitionError
from service.store.repositories import fleet, services
from service.store.repositories.services import DoneItem
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.fluids import Fluid
from service.store.tables.services import Round, Service, ServiceItem
from service.store.tables.vehicles import Compartment, Vehicle
from service.units import km_from_miles
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fluids.update_states import update_states
from service.usecases.readings.decide_readings import discard_reading_of_record
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import store_readings
from service.usecases.readings.row_outcomes import RowResult
from service.usecases.services.draw_stock import draw_stock, return_drawn
from service.usecases.services.prepare_service import PreparedService, prepare_service
from service.usecases.services.service_entries import NewService, NewWork
from service.usecases.week.tick_off import reopen_lines, tick_off

METER_SOURCE: Final = "service"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedService:
    """A stored service with what became of the reading beside it."""

    service: Service
    vehicle: Vehicle
    done: Sequence[DoneItem]
    reading: RowResult | None = None


def record_service(session: Session, caller: Caller, now: datetime, new: NewService) -> RecordedService:
    """Record one visit.

    Raises
    ------
    InvalidInputError
        Naming every field that cannot be right; nothing is stored then.
    DuplicateError
        If the sender's reference is on record, or the work itself.
    """
    caller.require(Scope.WORKSHOP)
    known = prepare_service(session, caller, now, new)
    service = _store(session, caller, now, known, new)
    works = list(zip(new.compartments, known.compartments, known.fluids, strict=True))
    for work, place, fluid in works:
        _store_work(session, service, work, place, fluid)
    draw_stock(session, caller, now, service, works)
    reading = _store_reading(session, caller, now, known, service, new)
    _follow_on(session, caller, now, service)
    tick_off(session, caller, now, service, known.done_at.date(), _exchanged(known, new))
    names = [place.reference for place in known.compartments]
    detail = {"vehicle": known.vehicle.reference, "compartments": names, "late_entry": new.late_entry}
    record_change(session, caller, now, "recorded", "service", service.id, detail)
    done = services.items_of_services(session, caller.organisation_id, [service])
    return RecordedService(service=service, vehicle=known.vehicle, done=done, reading=reading)


def void_service(
    session: Session, caller: Caller, now: datetime, reference: str, reason: str | None = None
) -> None:
    """Take back a service recorded by mistake: draws are reversed, the reading discarded, states replayed.

    `reason` is kept in the record of changes.

    Raises
    ------
    StateTransitionError
        If it is void already.
    """
    caller.require(Scope.WORKSHOP)
    service = services.get_service(session, caller.organisation_id, reference)
    fleet.lock_vehicles(session, caller.organisation_id, [service.vehicle_id])
    session.refresh(service)
    if service.voided_at is not None:
        raise StateTransitionError("This service is void already.")
    service.voided_at = now
    session.add(service)
    session.flush()
    return_drawn(session, caller, now, service)
    external = format_id(IdKind.SERVICE, service.id)
    discard_reading_of_record(session, caller, now, METER_SOURCE, external, service.vehicle_id)
    reopen_lines(session, caller, now, service)
    _follow_on(session, caller, now, service)
    detail = {"reason": reason} if reason else {}
    record_change(session, caller, now, "voided", "service", service.id, detail)


def _exchanged(known: PreparedService, new: NewService) -> list[int]:
    """Compartments whose fluid was changed, not only topped up."""
    pairs = zip(new.compartments, known.compartments, strict=True)
    return [place.id or 0 for work, place in pairs if work.method is not ExchangeMethod.TOP_UP]


def _store(
    session: Session, caller: Caller, now: datetime, known: PreparedService, new: NewService
) -> Service:
    vehicle, done_at = known.vehicle, known.done_at
    offset = done_at.utcoffset() or timedelta(0)
    unit = new.unit or vehicle.odometer_unit
    km = new.odometer
    if km is not None and unit == DistanceUnit.MI:
        km = km_from_miles(km)
    service = Service(
        organisation_id=caller.organisation_id,
        vehicle_id=vehicle.id or 0,
        done_at=done_at,
        utc_offset_minutes=int(offset.total_seconds() // 60),
        odometer_km=None if km is None else plausibility.ODOMETER_KM.check("/odometer", km),
        engine_hours=new.engine_hours,
        done_by=new.done_by,
        note=new.note,
        reference=new.reference,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
    session.add(service)
    session.flush()
    return service


def _store_work(
    session: Session, service: Service, work: NewWork, compartment: Compartment, fluid: Fluid | None
) -> None:
    grade = None if work.old_fluid_grade is None else parse_grade("/old_fluid_grade", work.old_fluid_grade)
    item = ServiceItem(
        organisation_id=service.organisation_id,
        service_id=service.id or 0,
        compartment_id=compartment.id or 0,
        fluid_id=None if fluid is None else fluid.id,
        method=work.method,
        passed_litres=work.passed_litres,
        level_celsius=work.level_celsius,
        excess_drained_litres=work.excess_drained_litres,
        counter_reset=work.counter_reset,
        seals_renewed=work.seals_renewed,
        old_fluid_grade=grade,
        override_reason=work.override_reason,
    )
    session.add(item)
    session.flush()
    for number, one in enumerate(work.rounds, start=1):
        session.add(
            Round(
                organisation_id=service.organisation_id,
                item_id=item.id or 0,
                number=number,
                drained_litres=one.drained_litres,
                filled_litres=one.filled_litres,
            )
        )
    session.flush()


def _store_reading(
    session: Session,
    caller: Caller,
    now: datetime,
    known: PreparedService,
    service: Service,
    new: NewService,
) -> RowResult | None:
    """Take the meters along as a reading, screened like any other."""
    if new.odometer is None and new.engine_hours is None:
        return None
    row = ReadingRow(
        vehicle=format_id(IdKind.VEHICLE, known.vehicle.id),
        taken_at=known.done_at,
        odometer=new.odometer,
        unit=new.unit,
        engine_hours=new.engine_hours,
        source=METER_SOURCE,
        reference=format_id(IdKind.SERVICE, service.id),
    )
    (result,) = store_readings(session, caller, now, [row])
    return result


def _follow_on(session: Session, caller: Caller, now: datetime, service: Service) -> None:
    mark_stale(session, caller.organisation_id, [service.vehicle_id], now)
    update_states(session, caller.organisation_id, [service.vehicle_id])
