"""The job sheet: read it, fill it in, save it half-done, close the job."""

import re
from collections.abc import Sequence
from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.exchange_methods import ExchangeMethod
from service.domain.roles import Scope
from service.domain.units_of_distance import DistanceUnit
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.units import km_from_miles
from service.usecases.services.close_job import FinishedWork, close_job, drop_draft, save_draft
from service.usecases.services.fill_advice import short_fill_advice
from service.usecases.services.prepare_job import Job, JobPart, prepare_job
from service.usecases.services.render_job_sheet import render_job_sheet
from service.usecases.services.service_entries import NewRound, NewService, NewWork
from service.web.catalogue import translate
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, hand_out, path_part, render
from service.web.views.job_sheet import FASTENERS, MOST_ROUNDS, TICKED_STEPS, job_sheet_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

VehiclePath = Annotated[str, Path(min_length=1, max_length=160)]
MOST_DRAFT_FIELDS: Final = 400
MOST_DRAFT_CHARACTERS: Final = 4000
_IN_PART: Final = re.compile(r"/compartments/(\d+)/(.+)")
_IN_ROUND: Final = re.compile(r"rounds/(\d+)/(drained|filled)_litres")
FIELD_BY_STEP: Final = {
    "step_level_in_window": "level_celsius",
    "step_old_fluid_looked_at": "old_fluid_grade",
    "step_drained_measured": "drained-1",
    "step_filled_measured": "filled-1",
    "step_seals_renewed": "seals_renewed",
    "step_counter_reset": "counter_reset",
    "rounds": "filled-1",
}


@router.get("/vehicles/{vehicle}/job-sheet.pdf")
def get_paper(request: Request, vehicle: VehiclePath) -> Response:
    """Give the sheet on paper."""
    with looking(request) as visit:
        content, name = render_job_sheet(
            visit.session, visit.caller, visit.now, vehicle, request.app.state.public_url
        )
    return hand_out(content, name)


@router.get("/vehicles/{vehicle}/job-sheet")
def get_sheet(request: Request, vehicle: VehiclePath) -> Response:
    """Show the sheet with what has been filled in so far."""
    return _show(request, vehicle, EMPTY)


@router.post("/vehicles/{vehicle}/job-sheet")
def post_sheet(request: Request, vehicle: VehiclePath, form: Form) -> Response:
    """Save the sheet half-done, empty it, or close the job."""
    here = f"/vehicles/{path_part(vehicle)}"
    keys: list[str] = []
    try:
        with doing(request, form) as visit:
            step = form.text("do")
            if step == "save":
                save_draft(visit.session, visit.caller, visit.now, vehicle, _draft(form))
                return visit.done(f"{here}/job-sheet", told="job_saved")
            if step == "empty":
                drop_draft(visit.session, visit.caller, visit.now, vehicle)
                return visit.done(f"{here}/job-sheet", told="job_emptied")
            visit.caller.require(Scope.WORKSHOP)
            job = prepare_job(visit.session, visit.caller, visit.now, vehicle)
            works = _close(visit, job, form, keys)
            is_short = any(short_fill_advice(one.work.rounds) for one in works)
            return visit.done(here, told="job_closed_short" if is_short else "job_closed")
    except (InvalidInputError, ConflictError) as error:
        told = type(error)(error.detail, [_at_field(one, keys) for one in error.errors])
        return _show(request, vehicle, FormState.after(form, told), error)


def _close(visit: Visit, job: Job, posted: Posted, keys: list[str]) -> list[FinishedWork]:
    """Read the form and close the job; `keys` learns which compartments the errors count."""
    reader = FormReader(posted)
    parts = [part for part in job.parts if reader.flag(f"{part.key}-on")]
    keys.extend(part.key for part in parts)
    litres_a_unit = 1.0 / visit.presentation.volume_value(1.0)
    works = [_work(reader, part, litres_a_unit) for part in parts]
    torques = [told for part in parts if (told := _torques(reader, part))]
    unit = reader.choice("unit", DistanceUnit, DistanceUnit(job.projection.vehicle.odometer_unit))
    to_km = km_from_miles if unit is DistanceUnit.MI else float
    km = reader.optional_number("odometer", plausibility.ODOMETER_KM, to_base=to_km)
    service = NewService(
        vehicle=job.projection.vehicle.reference,
        done_at=reader.moment("done_at", visit.zone),
        compartments=(),
        odometer=km,
        unit=DistanceUnit.KM,
        engine_hours=reader.optional_number("engine_hours", plausibility.ENGINE_HOURS),
        done_by=reader.optional_line("done_by", maximum=80),
        note="\n".join(filter(None, (reader.note("note"), *torques))) or None,
        late_entry=reader.flag("late_entry"),
    )
    reader.finish()
    close_job(visit.session, visit.caller, visit.now, service, works)
    return works


def _work(reader: FormReader, part: JobPart, litres_a_unit: float) -> FinishedWork:
    key, posted = part.key, reader.posted

    def litres(name: str) -> float | None:
        return reader.optional_number(
            f"{key}-{name}", plausibility.EXCHANGED_LITRES, to_base=lambda typed: typed * litres_a_unit
        )

    work = NewWork(
        compartment=part.compartment.reference,
        method=reader.choice(f"{key}-method", ExchangeMethod, part.method),
        rounds=_rounds(reader, key, litres_a_unit),
        passed_litres=litres("passed_litres"),
        fluid=reader.optional_line(f"{key}-fluid", maximum=160),
        level_celsius=reader.optional_number(f"{key}-level_celsius", plausibility.FLUID_CELSIUS),
        excess_drained_litres=litres("excess_drained_litres"),
        counter_reset=reader.flag(f"{key}-counter_reset") if part.compartment.has_fluid_counter else None,
        seals_renewed=reader.flag(f"{key}-seals_renewed"),
        old_fluid_grade=posted.text(f"{key}-old_fluid_grade") or None,
        override_reason=reader.optional_line(f"{key}-override_reason", maximum=400),
    )
    ticked = frozenset(step for step in TICKED_STEPS if reader.flag(f"{key}-step_{step}"))
    return FinishedWork(work=work, ticked=ticked)


def _torques(reader: FormReader, part: JobPart) -> str:
    """Say what was tightened to what; it goes into the remarks of the record."""
    found = []
    for place in FASTENERS:
        torque = reader.optional_number(f"{part.key}-torque_{place}", plausibility.TORQUE_NM)
        if torque is not None:
            told = translate("job_torque_of", place=translate(f"torque_{place}"), newton_metres=f"{torque:g}")
            found.append(told)
    if not found:
        return ""
    return translate("job_torque_note", compartment=part.compartment.reference, torques="; ".join(found))


def _rounds(reader: FormReader, key: str, litres_a_unit: float) -> tuple[NewRound, ...]:
    """Rounds up to the last one that is filled in; half a round is a mistake that is told at the other half."""
    rounds = []
    for number in range(1, MOST_ROUNDS + 1):
        names = (f"{key}-drained-{number}", f"{key}-filled-{number}")
        if not any(reader.posted.text(name).strip() for name in names):
            continue
        out, into = (
            reader.number(name, plausibility.EXCHANGED_LITRES, to_base=lambda typed: typed * litres_a_unit)
            for name in names
        )
        rounds.append(NewRound(drained_litres=out, filled_litres=into))
    return tuple(rounds)


def _at_field(error: FieldError, keys: Sequence[str]) -> FieldError:
    """Point an error of the record at the field of the sheet."""
    found = _IN_PART.fullmatch(error.pointer)
    if found is None or int(found[1]) >= len(keys):
        return error
    key, rest = keys[int(found[1])], found[2]
    in_round = _IN_ROUND.fullmatch(rest)
    if in_round is not None:
        return FieldError(f"/{key}-{in_round[2]}-{int(in_round[1]) + 1}", error.detail)
    return FieldError(f"/{key}-{FIELD_BY_STEP.get(rest, rest)}", error.detail)


def _draft(posted: Posted) -> dict[str, str]:
    kept = list(posted.typed.items())[:MOST_DRAFT_FIELDS]
    fields = {name: value[:MOST_DRAFT_CHARACTERS].replace("\x00", "") for name, value in kept}
    fields.pop("do", None)
    return fields


def _show(request: Request, reference: str, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.READ)
        job = prepare_job(visit.session, visit.caller, visit.now, reference)
        page = job_sheet_page(
            job,
            visit.presentation,
            visit.zone,
            visit.now,
            visit.person.name,
            form,
            may_work=visit.may(Scope.WORKSHOP),
            may_plan=visit.may(Scope.PLANNING),
        )
        return render("job_sheet.html", frame_of(visit, "vehicles"), page, status_of(error))
