"""Look up and check everything that a service names, before anything is stored."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id, parse_id
from service.domain.vehicle_life import require_in_life, require_in_use
from service.errors import DuplicateError, FieldError, InvalidInputError
from service.store.repositories import fleet, fluids, services
from service.store.tables.fluids import Fluid
from service.store.tables.vehicles import Compartment, Vehicle
from service.usecases.access.caller import Caller
from service.usecases.fluids.follow_fluid import FluidHistory, FluidPoint, Step, follow
from service.usecases.fluids.update_states import load_histories
from service.usecases.services.check_service import Circumstances, check_work
from service.usecases.services.service_entries import NewService, NewWork


@dataclass(frozen=True, slots=True, kw_only=True)
class PreparedService:
    """What a service names; `compartments` and `fluids` are in the order of the works."""

    vehicle: Vehicle
    done_at: datetime
    compartments: list[Compartment]
    fluids: list[Fluid | None]


def prepare_service(session: Session, caller: Caller, now: datetime, new: NewService) -> PreparedService:
    """Find what is named, or refuse.

    Raises
    ------
    InvalidInputError
        Naming every field that cannot be right.
    DuplicateError
        If the sender's reference is on record, or the work itself.
    """
    vehicle = fleet.find_vehicle(session, caller.organisation_id, new.vehicle, for_update=True)
    if vehicle is None or vehicle.id is None:
        raise InvalidInputError.at(
            "/vehicle", "There is no vehicle with this number or id; register it first."
        )
    caller.require_vehicle(vehicle.id)
    require_in_use(vehicle.reference, vehicle.retired_at)
    done_at = _check_time(session, caller, now, vehicle, new)
    _check_reference(session, caller, new.reference)
    compartments = _find_compartments(session, caller, vehicle, new.compartments)
    _refuse_repetition(session, caller, done_at, compartments)
    filled = _find_fluids(session, caller, new.compartments, compartments)
    _check_works(session, caller, done_at, new, compartments, filled)
    return PreparedService(vehicle=vehicle, done_at=done_at, compartments=compartments, fluids=filled)


def _check_time(
    session: Session, caller: Caller, now: datetime, vehicle: Vehicle, new: NewService
) -> datetime:
    done_at = plausibility.past_instant("/done_at", new.done_at, now).astimezone(new.done_at.tzinfo)
    require_in_life("/done_at", done_at.date(), vehicle.in_service_on, now.date())
    last = services.last_service_at(session, caller.organisation_id, vehicle.id or 0)
    if last is not None and done_at < last and not new.late_entry:
        raise InvalidInputError.at(
            "/done_at",
            f"The vehicle has a later service on record, of {last.astimezone(done_at.tzinfo):%Y-%m-%d %H:%M}. "
            "Check the date; if it is right, mark this one as a late entry (late_entry).",
        )
    return done_at


def _check_reference(session: Session, caller: Caller, reference: str | None) -> None:
    if reference is not None and services.has_reference(session, caller.organisation_id, reference):
        raise DuplicateError(
            "A service with this reference is on record.",
            [
                FieldError(
                    "/reference", "Send the same Idempotency-Key to repeat a call; else take a new reference."
                )
            ],
        )


def _find_compartments(
    session: Session, caller: Caller, vehicle: Vehicle, works: Sequence[NewWork]
) -> list[Compartment]:
    known = fleet.list_compartments(session, caller.organisation_id, vehicle.id or 0)
    by_name = {place.reference: place for place in known}
    by_id = {place.id: place for place in known}
    found: list[Compartment] = []
    errors: list[FieldError] = []
    for number, work in enumerate(works):
        key = parse_id(IdKind.COMPARTMENT, work.compartment)
        place = by_name.get(work.compartment) if key is None else by_id.get(key)
        pointer = f"/compartments/{number}/compartment"
        if place is None:
            names = ", ".join(sorted(by_name)) or "none yet"
            errors.append(FieldError(pointer, f"The vehicle has no such compartment; it has {names}."))
        elif place in found:
            errors.append(FieldError(pointer, "Name each compartment once; put all its rounds together."))
        else:
            found.append(place)
    _refuse(errors)
    return found


def _refuse_repetition(
    session: Session, caller: Caller, done_at: datetime, places: Sequence[Compartment]
) -> None:
    """Refuse work on a compartment that is on record for the same instant; the vehicle is locked by now.

    All rounds of a visit go into one record, and nobody drains and fills one compartment on two occasions at once.
    """
    keys = [place.id or 0 for place in places]
    found = services.find_service_at(session, caller.organisation_id, keys, done_at)
    if found is None:
        return
    same = format_id(IdKind.SERVICE, found.id)
    told = (
        f"This service is recorded already, as {same}: the same vehicle, time and compartment. "
        "Nothing was stored and no stock drawn."
    )
    advice = f"If it is other work, give the time when it was done; if {same} is wrong, void that first."
    raise DuplicateError(told, [FieldError("/done_at", advice)])


def _find_fluids(
    session: Session, caller: Caller, works: Sequence[NewWork], places: Sequence[Compartment]
) -> list[Fluid | None]:
    known = fluids.list_fluids(session, caller.organisation_id)
    by_id = {fluid.id: fluid for fluid in known}
    found: list[Fluid | None] = []
    errors: list[FieldError] = []
    for number, (work, place) in enumerate(zip(works, places, strict=True)):
        if work.fluid is None:
            found.append(by_id.get(place.fluid_id))
            continue
        fluid = fluids.find_fluid(session, caller.organisation_id, work.fluid)
        if fluid is None:
            errors.append(
                FieldError(
                    f"/compartments/{number}/fluid",
                    "There is no such fluid; add it first with POST /v1/fluids.",
                )
            )
        found.append(fluid)
    _refuse(errors)
    return found


def _check_works(
    session: Session,
    caller: Caller,
    done_at: datetime,
    new: NewService,
    places: Sequence[Compartment],
    filled: Sequence[Fluid | None],
) -> None:
    histories = {
        history.compartment.id: history
        for history in load_histories(session, caller.organisation_id, [places[0].vehicle_id])
    }
    known = {fluid.id: fluid for fluid in fluids.list_fluids(session, caller.organisation_id)}
    errors: list[FieldError] = []
    for number, (work, place, fluid) in enumerate(zip(new.compartments, places, filled, strict=True)):
        history = histories[place.id]
        circumstances = Circumstances(
            compartment=place,
            held_litres=_held_litres(history, done_at),
            fluid=fluid,
            present=_present(history, done_at, known),
        )
        errors += check_work(f"/compartments/{number}", work, circumstances)
    _refuse(errors)


def _held_litres(history: FluidHistory, at: datetime) -> float:
    """Litres in a compartment just before an instant; a unit may always be as full as its maker says."""
    steps: list[Step] = follow(history)
    point: FluidPoint = next((step.after for step in reversed(steps) if step.after.at <= at), steps[0].after)
    return max(float(point.fluid.volume_15c_litres[0]), history.compartment.total_litres)


def _present(history: FluidHistory, at: datetime, known: Mapping[int | None, Fluid]) -> Fluid | None:
    earlier = [
        done.item.fluid_id
        for done in history.items
        if done.service.done_at <= at and done.item.fluid_id is not None
    ]
    return known.get(earlier[-1] if earlier else history.compartment.fluid_id)


def _refuse(errors: Sequence[FieldError]) -> None:
    if errors:
        count = "One field" if len(errors) == 1 else f"{len(errors)} fields"
        raise InvalidInputError(f"{count} cannot be right; nothing was stored, see errors.", errors)
