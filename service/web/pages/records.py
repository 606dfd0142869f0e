"""One record of a vehicle, a service or a sample: look at it, and take it back if it was a mistake."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response
from sqlmodel import Session

from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, ServiceError
from service.store.repositories import fleet, fluids, services, vehicle_search
from service.usecases.access.caller import Caller
from service.usecases.fluids.judge_sample import judge_sample
from service.usecases.fluids.record_samples import void_sample
from service.usecases.services.record_services import void_service
from service.web.forms import EMPTY, Form, FormReader, FormState
from service.web.rendering import frame_of, render
from service.web.views.records import RecordPage, Told, sample_record_page, service_record_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

ServicePath = Annotated[str, Path(pattern=r"^srv_[0-9]{1,19}$")]
SamplePath = Annotated[str, Path(pattern=r"^smp_[0-9]{1,19}$")]
Voider = Callable[[Session, Caller, datetime, str, str], None]
Shower = Callable[[Visit, str, FormState], RecordPage]

N_CHANGES: Final = 20


@router.get("/services/{service}")
def get_service(request: Request, service: ServicePath) -> Response:
    """Show what was recorded as done."""
    return _show(request, service, _service_page, EMPTY)


@router.post("/services/{service}")
def post_service(request: Request, service: ServicePath, form: Form) -> Response:
    """Take a service back."""
    return _void(request, service, form, void_service, _service_page)


@router.get("/samples/{sample}")
def get_sample(request: Request, sample: SamplePath) -> Response:
    """Show what was seen or measured."""
    return _show(request, sample, _sample_page, EMPTY)


@router.post("/samples/{sample}")
def post_sample(request: Request, sample: SamplePath, form: Form) -> Response:
    """Take a sample back."""
    return _void(request, sample, form, void_sample, _sample_page)


def _show(
    request: Request, reference: str, shower: Shower, form: FormState, error: ServiceError | None = None
) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.READ)
        page = shower(visit, reference, form)
        return render("record.html", frame_of(visit, "vehicles"), page, status_of(error))


def _void(request: Request, reference: str, form: Form, voider: Voider, shower: Shower) -> Response:
    try:
        with doing(request, form) as visit:
            visit.caller.require(Scope.WORKSHOP)
            page = shower(visit, reference, EMPTY)
            reader = FormReader(form)
            reason = reader.line("reason", maximum=400)
            reader.finish()
            voider(visit.session, visit.caller, visit.now, reference, reason)
            return visit.done(f"/vehicles/{page.vehicle_id}", told="voided")
    except (InvalidInputError, ConflictError) as error:
        return _show(request, reference, shower, FormState.after(form, error), error)


def _service_page(visit: Visit, reference: str, form: FormState) -> RecordPage:
    session, organisation_id = visit.session, visit.caller.organisation_id
    service = services.get_service(session, organisation_id, reference)
    done = services.items_of_services(session, organisation_id, [service])
    return service_record_page(
        service,
        done,
        vehicle=fleet.get_vehicle_by_id(session, organisation_id, service.vehicle_id),
        places={
            place.id or 0: place
            for place in fleet.compartments_by_id(
                session, organisation_id, [one.item.compartment_id for one in done]
            )
        },
        fluids={one.id: one.reference for one in fluids.list_fluids(session, organisation_id)},
        told=_told(visit, "service", service.id, form),
    )


def _sample_page(visit: Visit, reference: str, form: FormState) -> RecordPage:
    session, organisation_id = visit.session, visit.caller.organisation_id
    sample = services.get_sample(session, organisation_id, reference)
    judged = judge_sample(session, organisation_id, sample)
    return sample_record_page(
        judged,
        vehicle=fleet.get_vehicle_by_id(session, organisation_id, judged.compartment.vehicle_id),
        told=_told(visit, "sample", sample.id, form),
    )


def _told(visit: Visit, kind: str, key: int | None, form: FormState) -> Told:
    objects = [(kind, [key or 0])]
    changes = vehicle_search.changes_of(visit.session, visit.caller.organisation_id, objects, N_CHANGES)
    return Told(
        presentation=visit.presentation,
        zone=visit.zone,
        voiding=next((one for one in changes if one.action == "voided"), None),
        may_void=visit.may(Scope.WORKSHOP),
        form=form,
    )
