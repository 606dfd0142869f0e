"""Record samples: units converted, contamination recognised; one bad sample never loses the good ones."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Session

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id, parse_id
from service.domain.fluid_kinds import FluidKind
from service.domain.laboratory import INSIDE_UNIT, PROPERTY_RULES, LaboratoryProperty, value_inside
from service.domain.laboratory_report import contradictions
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.domain.vehicle_life import require_in_life, require_in_use
from service.domain.visual_grades import parse_grade
from service.errors import DuplicateError, FieldError, InvalidInputError, ServiceError, StateTransitionError
from service.store.repositories import fleet, services
from service.store.repositories.stale_vehicles import mark_stale
from service.store.tables.services import Sample
from service.store.tables.vehicles import Compartment, Vehicle
from service.units import km_from_miles
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.fluids.alarm_limits import LimitsByKind, limits_in_force
from service.usecases.fluids.sample_entries import NewSample, SampleOutcome, SampleResult
from service.usecases.fluids.update_states import update_states
from service.usecases.fluids.weigh_sample import contamination_shown
from service.usecases.readings.decide_readings import discard_reading_of_record
from service.usecases.readings.reading_columns import ReadingRow
from service.usecases.readings.record_readings import store_readings

METER_SOURCE: Final = "sample"
MAX_SAMPLES: Final = 5_000
"""Samples of one call: they are one transaction."""


@dataclass(slots=True)
class _Known:
    """Vehicles, compartments and limits that were looked up already."""

    vehicles: dict[str, Vehicle]
    limits: LimitsByKind
    compartments: dict[int, list[Compartment]] = field(default_factory=dict)


def record_samples(
    session: Session, caller: Caller, now: datetime, entries: Sequence[NewSample | SampleResult]
) -> list[SampleResult]:
    """Store the samples that can be stored; what was refused already is passed through."""
    caller.require(Scope.WORKSHOP)
    if len(entries) > MAX_SAMPLES:
        raise InvalidInputError(f"At most {MAX_SAMPLES} samples a call; send the rest in another one.")
    names = {entry.vehicle for entry in entries if isinstance(entry, NewSample) and entry.vehicle}
    known = _Known(
        fleet.vehicles_by_reference(session, caller.organisation_id, names),
        limits_in_force(session, caller.organisation_id),
    )
    ids = [vehicle.id for vehicle in known.vehicles.values() if vehicle.id is not None]
    fleet.lock_vehicles(session, caller.organisation_id, ids)
    results: list[SampleResult] = []
    rows: list[ReadingRow] = []
    touched: set[int] = set()
    for entry in entries:
        if isinstance(entry, SampleResult):
            results.append(entry)
            continue
        try:
            compartment = _find_compartment(session, caller, known, entry)
            sample = _store(session, caller, now, compartment, entry, known.limits)
        except DuplicateError as error:
            results.append(SampleResult(SampleOutcome.DUPLICATE, error=error))
        except ServiceError as error:
            results.append(SampleResult(SampleOutcome.REJECTED, error=error))
        else:
            results.append(SampleResult(SampleOutcome.ACCEPTED, sample))
            touched.add(compartment.vehicle_id)
            rows += _reading(compartment, entry, sample)
    store_readings(session, caller, now, rows)
    mark_stale(session, caller.organisation_id, sorted(touched), now)
    update_states(session, caller.organisation_id, sorted(touched))
    return results


def record_sample(session: Session, caller: Caller, now: datetime, entry: NewSample) -> Sample:
    """Store one sample.

    Raises
    ------
    ServiceError
        If it cannot be stored.
    """
    (result,) = record_samples(session, caller, now, [entry])
    if result.error is not None:
        raise result.error
    assert result.sample is not None  # noqa: S101 - it was stored
    return result.sample


def void_sample(
    session: Session, caller: Caller, now: datetime, reference: str, reason: str | None = None
) -> None:
    """Take back a sample recorded by mistake; states are replayed without it.

    `reason` is kept in the record of changes.

    Raises
    ------
    StateTransitionError
        If it is void already.
    """
    caller.require(Scope.WORKSHOP)
    sample = services.get_sample(session, caller.organisation_id, reference)
    (compartment,) = fleet.compartments_by_id(session, caller.organisation_id, [sample.compartment_id])
    fleet.lock_vehicles(session, caller.organisation_id, [compartment.vehicle_id])
    session.refresh(sample)
    if sample.voided_at is not None:
        raise StateTransitionError("This sample is void already.")
    sample.voided_at = now
    session.add(sample)
    session.flush()
    external = format_id(IdKind.SAMPLE, sample.id)
    discard_reading_of_record(session, caller, now, METER_SOURCE, external, compartment.vehicle_id)
    mark_stale(session, caller.organisation_id, [compartment.vehicle_id], now)
    update_states(session, caller.organisation_id, [compartment.vehicle_id])
    detail = {"reason": reason} if reason else {}
    record_change(session, caller, now, "voided", "sample", sample.id, detail)


def _find_compartment(session: Session, caller: Caller, known: _Known, entry: NewSample) -> Compartment:
    key = parse_id(IdKind.COMPARTMENT, entry.compartment)
    if key is not None:
        found = fleet.compartments_by_id(session, caller.organisation_id, [key])
        if not found:
            raise InvalidInputError.at("/compartment", "There is no compartment with this id.")
        fleet.lock_vehicles(session, caller.organisation_id, [found[0].vehicle_id])
        caller.require_vehicle(found[0].vehicle_id)
        _require_of_vehicle(known, entry, found[0])
        return found[0]
    if entry.vehicle is None:
        raise InvalidInputError.at("/vehicle", "Name the vehicle, or give the compartment's id.")
    vehicle = known.vehicles.get(entry.vehicle)
    if vehicle is None or vehicle.id is None:
        raise InvalidInputError.at("/vehicle", "There is no vehicle with this number or id.")
    caller.require_vehicle(vehicle.id)
    if vehicle.id not in known.compartments:
        known.compartments[vehicle.id] = fleet.list_compartments(session, caller.organisation_id, vehicle.id)
    places = {place.reference: place for place in known.compartments[vehicle.id]}
    if entry.compartment not in places:
        names = ", ".join(sorted(places)) or "none yet"
        raise InvalidInputError.at("/compartment", f"The vehicle has no such compartment; it has {names}.")
    return places[entry.compartment]


def _require_of_vehicle(known: _Known, entry: NewSample, place: Compartment) -> None:
    """Refuse a sample that names one vehicle, and by its id the compartment of another."""
    if entry.vehicle is None:
        return
    vehicle = known.vehicles.get(entry.vehicle)
    if vehicle is None or vehicle.id != place.vehicle_id:
        raise InvalidInputError.at(
            "/vehicle", "The compartment with this id is not this vehicle's; leave one of the two out."
        )


def _store(
    session: Session,
    caller: Caller,
    now: datetime,
    compartment: Compartment,
    entry: NewSample,
    limits: LimitsByKind,
) -> Sample:
    taken_at = plausibility.past_instant("/taken_at", entry.taken_at, now).astimezone(entry.taken_at.tzinfo)
    owner = fleet.get_vehicle_by_id(session, caller.organisation_id, compartment.vehicle_id)
    require_in_use(owner.reference, owner.retired_at)
    require_in_life("/taken_at", taken_at.date(), owner.in_service_on, now.date())
    kind = FluidKind(compartment.kind)
    grade = None if entry.grade is None else parse_grade("/grade", entry.grade)
    _check_units(entry)
    values = _inside("/laboratory", entry.laboratory, entry.units)
    if grade is None and not values:
        raise InvalidInputError.at("/laboratory", "Give a grade, or at least one laboratory value.")
    sample = Sample(
        organisation_id=caller.organisation_id,
        compartment_id=compartment.id or 0,
        taken_at=taken_at,
        utc_offset_minutes=int((taken_at.utcoffset() or timedelta(0)).total_seconds() // 60),
        odometer_km=_km(owner, entry),
        engine_hours=entry.engine_hours,
        grade=grade,
        has_values=bool(values),
        laboratory=values,
        new_values=_inside("/new_values", entry.new_values, entry.units),
        is_contaminated=contamination_shown(kind, grade, values, limits[kind]) is not None,
        source=entry.source,
        reference=entry.reference,
        note=entry.note,
        recorded_at=now,
        recorded_by=caller.actor[:80],
    )
    _refuse_repeat(session, sample)
    session.add(sample)
    session.flush()
    detail = {"compartment": compartment.reference, "is_contaminated": sample.is_contaminated}
    record_change(session, caller, now, "recorded", "sample", sample.id, detail)
    return sample


def _check_units(entry: NewSample) -> None:
    """Refuse a unit beside no value: a name mistyped there would let the value pass in another unit."""
    named = {*entry.laboratory, *entry.new_values}
    for name in entry.units:
        if name not in named:
            told = ", ".join(sorted(named)) or "none"
            raise InvalidInputError.at(
                f"/units/{name[:40]}", f"No value of this name is given; there are {told}."
            )


def _inside(pointer: str, values: Mapping[str, float], units: Mapping[str, str]) -> dict[str, float]:
    converted: dict[str, float] = {}
    for name, value in values.items():
        try:
            laboratory_property = LaboratoryProperty(name)
        except ValueError:
            known = ", ".join(LaboratoryProperty)
            raise InvalidInputError.at(
                f"{pointer}/{name[:40]}", f"Not a property known here; known are {known}."
            ) from None
        unit = units.get(name, INSIDE_UNIT[PROPERTY_RULES[laboratory_property].quantity])
        converted[name] = value_inside(f"{pointer}/{name}", laboratory_property, value, unit)
    against = [FieldError(f"{pointer}{one.pointer}", one.detail) for one in contradictions(converted)]
    if against:
        raise InvalidInputError(f"Two values contradict each other. {against[0].detail}", against)
    return converted


def _refuse_repeat(session: Session, sample: Sample) -> None:
    for earlier in services.samples_at(session, sample):
        same_reference = sample.reference is not None and earlier.reference == sample.reference
        same_content = (
            earlier.taken_at == sample.taken_at
            and earlier.grade == sample.grade
            and earlier.laboratory == sample.laboratory
        )
        if same_reference or same_content:
            raise DuplicateError("This sample is on record already.")


def _km(owner: Vehicle, entry: NewSample) -> float | None:
    if entry.odometer is None:
        return None
    is_miles = (entry.unit or owner.odometer_unit) == DistanceUnit.MI
    km = km_from_miles(entry.odometer) if is_miles else entry.odometer
    return plausibility.ODOMETER_KM.check("/odometer", km)


def _reading(compartment: Compartment, entry: NewSample, sample: Sample) -> list[ReadingRow]:
    """Take the meters along as a reading, screened like any other."""
    if entry.odometer is None and entry.engine_hours is None:
        return []
    return [
        ReadingRow(
            vehicle=format_id(IdKind.VEHICLE, compartment.vehicle_id),
            taken_at=entry.taken_at,
            odometer=entry.odometer,
            unit=entry.unit,
            engine_hours=entry.engine_hours,
            source=METER_SOURCE,
            reference=format_id(IdKind.SAMPLE, sample.id),
        )
    ]
