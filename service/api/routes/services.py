"""Services: record what was done, look at it, take a mistaken record back."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.answers import describe_file, number_in, page_of, show, show_file
from service.api.inputs import (
    Cursor,
    IdPath,
    Line400,
    NameQuery,
    PageLimit,
    ReferenceQuery,
    VehiclePath,
)
from service.api.problems import describe_problems
from service.api.schemas.services import ServiceCreate, ServiceNames, ServicePage, ServiceRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Unit, Writing
from service.domain.roles import Scope
from service.store.repositories import fleet, fluids, services
from service.store.repositories.services import DoneItem
from service.store.tables.services import Service
from service.usecases.services.record_services import record_service, void_service
from service.usecases.services.render_job_sheet import render_job_sheet

router = APIRouter(tags=["services"], route_class=TokenFirst)


@router.get(
    "/vehicles/{vehicle}/job-sheet.pdf",
    operation_id="get_job_sheet",
    summary="Print the job sheet of a vehicle",
    response_class=Response,
    responses={**describe_problems(404, 422), **describe_file("The sheet, to fill in by hand.", "pdf")},
)
def get_job_sheet(request: Request, vehicle: VehiclePath, unit: Reading) -> Response:
    """What is to be done to the compartments that are listed, or to all where none is: amounts, steps, cautions."""
    content, name = render_job_sheet(
        unit.session, unit.caller, unit.now, vehicle, request.app.state.public_url
    )
    return show_file(request, content, name)


@router.post(
    "/services",
    operation_id="record_service",
    summary="Record a service",
    status_code=201,
    response_model=ServiceRead,
    responses=describe_problems(409, 422),
)
def post_service(body: ServiceCreate, unit: Writing) -> Response:
    """Record what was done to a vehicle: stock is drawn, states and projections follow, due lines are ticked off.

    What cannot have been done as it was told is refused with the field and what to do; nothing is stored half.
    """
    recorded = record_service(unit.session, unit.caller, unit.now, body.entry())
    names = _names(unit, [recorded.service], recorded.done)
    answer = ServiceRead.of(recorded.service, recorded.done, names, recorded.reading)
    return unit.created(answer, f"/v1/services/{answer.id}")


@router.get(
    "/services",
    operation_id="list_services",
    summary="List services",
    response_model=ServicePage,
    responses=describe_problems(404, 422),
)
def get_services(
    request: Request,
    unit: Reading,
    vehicle: NameQuery | None = None,
    reference: ReferenceQuery | None = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List services in the order they were recorded, voided ones too."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    owner = None if vehicle is None else fleet.get_vehicle(unit.session, organisation_id, vehicle)
    after = number_in(cursor, "after") or 0
    rows = services.list_services(
        unit.session,
        organisation_id,
        vehicle_id=None if owner is None else owner.id,
        reference=reference,
        after_id=after,
        limit=limit + 1,
    )
    shown, more = page_of(request, rows, limit)
    done = services.items_of_services(unit.session, organisation_id, shown)
    names = _names(unit, shown, done)
    page = ServicePage(services=[ServiceRead.of(row, done, names) for row in shown])
    return show(request, page, headers=more)


@router.get(
    "/services/{service}",
    operation_id="get_service",
    summary="Look at a service",
    response_model=ServiceRead,
    responses=describe_problems(404, 422),
)
def get_service(request: Request, service: IdPath, unit: Reading) -> Response:
    """Look at one service."""
    unit.caller.require(Scope.READ)
    return show(request, _read(unit, service))


@router.delete(
    "/services/{service}",
    operation_id="void_service",
    summary="Void a service",
    status_code=204,
    responses=describe_problems(404, 409, 412, 422),
)
def delete_service(
    request: Request,
    service: IdPath,
    unit: Writing,
    reason: Annotated[Line400 | None, Query(description="Why; kept in the record of changes.")] = None,
) -> Response:
    """Take back a service recorded by mistake; the record stays, marked void, and everything follows."""
    unit.require_match(request, _read(unit, service))
    void_service(unit.session, unit.caller, unit.now, service, reason)
    return unit.answer(None, 204)


def _read(unit: Unit, service: str) -> ServiceRead:
    row = services.get_service(unit.session, unit.caller.organisation_id, service)
    done = services.items_of_services(unit.session, unit.caller.organisation_id, [row])
    return ServiceRead.of(row, done, _names(unit, [row], done))


def _names(unit: Unit, rows: Sequence[Service], done: Sequence[DoneItem]) -> ServiceNames:
    session, organisation_id = unit.session, unit.caller.organisation_id
    return ServiceNames(
        vehicles=fleet.vehicle_references(session, organisation_id, {row.vehicle_id for row in rows}),
        compartments=fleet.compartment_references(
            session, organisation_id, {one.item.compartment_id for one in done}
        ),
        fluids={fluid.id: fluid.reference for fluid in fluids.list_fluids(session, organisation_id)},
    )
