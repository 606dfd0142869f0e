"""Samples: a look or a laboratory's values, one by one or as a file."""

import io
from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, FileZone, IdPath, Line400, PageLimit
from service.api.problems import describe_problems
from service.api.readings_upload import Upload, receive_upload
from service.api.schemas.samples import (
    SampleCreate,
    SamplePage,
    SampleRead,
    SampleResults,
    SampleRow,
    SampleRowResult,
)
from service.api.token_first import TokenFirst
from service.api.units_of_work import Credentials, KeyHeader, Reading, Unit, WriteUnit, Writing, writing
from service.domain.roles import Scope
from service.domain.zones import zone_named
from service.errors import FieldError, InvalidInputError
from service.store.repositories import fleet, services
from service.store.tables.services import Sample
from service.usecases.fluids.import_samples import read_samples
from service.usecases.fluids.judge_sample import judge_sample
from service.usecases.fluids.record_samples import record_sample, record_samples, void_sample
from service.usecases.fluids.sample_entries import SampleOutcome, SampleResult

router = APIRouter(tags=["samples"], route_class=TokenFirst)

CSV_EXAMPLE = (
    "vehicle,compartment,taken_at,odometer,grade,reference,iron_mg_per_kg [ppm],water_fraction [%]\n"
    "VAN-07,gearbox,2026-05-01T14:10:00+01:00,84210.4,brown,report 5521,96,0.05\n"
)
BODY: dict[str, Any] = {
    "required": True,
    "content": {
        "application/json": {
            "schema": SampleCreate.model_json_schema(ref_template="#/components/schemas/{model}")
        },
        "text/csv": {"schema": {"type": "string"}, "example": CSV_EXAMPLE},
    },
}


@router.post(
    "/samples",
    operation_id="record_sample",
    summary="Record a sample",
    status_code=201,
    response_model=SampleRead,
    responses={
        200: {"model": SampleResults, "description": "The outcome of every row of a file."},
        **describe_problems(409, 413, 415, 422),
    },
    openapi_extra={"requestBody": BODY},
)
def post_sample(
    request: Request,
    credentials: Credentials,
    upload: Annotated[Upload, Depends(receive_upload)],
    key: KeyHeader = None,
    time_zone: FileZone | None = None,
) -> Response:
    """Record one sample as JSON, or a laboratory's report as CSV.

    A CSV file has one row a sample. Columns: compartment and taken_at, always; vehicle, unless compartment holds
    ids; odometer, unit (km or mi), engine_hours, grade, source, reference and note, if known; and one for each
    property, named as in JSON. The unit of a property stands in brackets behind its name (`iron_mg_per_kg [ppm]`), or
    in a first row whose first cell says `unit`; without either it is the one in the name. `<5` and `n.d.` mean: not
    detected. Every row has an outcome; one bad row never loses the good ones.
    """
    with writing(request, credentials, upload.body_hash, key) as unit:
        if upload.is_csv:
            return _record_file(unit, upload, time_zone)
        sample = record_sample(unit.session, unit.caller, unit.now, _parse(upload.content()).entry())
        answer = _read(unit, sample)
        return unit.created(answer, f"/v1/samples/{answer.id}")


def _parse(body: bytes) -> SampleCreate:
    try:
        return SampleCreate.model_validate_json(body)
    except ValidationError as error:
        found = error.errors(include_url=False, include_context=False, include_input=False)
        raise RequestValidationError([{**item, "loc": ("body", *item["loc"])} for item in found]) from None


def _record_file(unit: WriteUnit, upload: Upload, time_zone: str | None) -> Response:
    unit.caller.require(Scope.WORKSHOP)
    zone = None if time_zone is None else zone_named("query/time_zone", time_zone)
    upload.file.seek(0)
    text = io.TextIOWrapper(upload.file, encoding="utf-8-sig", errors="strict", newline="")
    try:
        results = record_samples(unit.session, unit.caller, unit.now, read_samples(text, zone))
    finally:
        text.detach()
    _refuse_if_nothing_fits(results)
    counts = {str(outcome): 0 for outcome in SampleOutcome}
    for result in results:
        counts[str(result.outcome)] += 1
    shown = [SampleRowResult.of(index, result) for index, result in enumerate(results)]
    return unit.answer(SampleResults(results=shown, **counts), 200)


def _refuse_if_nothing_fits(results: Sequence[SampleResult]) -> None:
    if any(result.outcome is not SampleOutcome.REJECTED for result in results):
        return
    shown = [SampleRowResult.of(index, result) for index, result in enumerate(results[:100])]
    fields = [FieldError(f"row {one.index + 1}", f"{one.field}: {one.detail}") for one in shown]
    raise InvalidInputError("No row of the file could be stored; see errors.", fields)


@router.get(
    "/samples",
    operation_id="list_samples",
    summary="List samples",
    response_model=SamplePage,
    responses=describe_problems(404, 422),
)
def get_samples(
    request: Request,
    unit: Reading,
    compartment: Annotated[str | None, Query(min_length=1, max_length=40, description="Its id.")] = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List samples in the order they were recorded, voided ones too."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    place = None if compartment is None else fleet.get_compartment(unit.session, organisation_id, compartment)
    after = number_in(cursor, "after") or 0
    rows = services.list_samples(
        unit.session,
        organisation_id,
        compartment_id=None if place is None else place.id,
        after_id=after,
        limit=limit + 1,
    )
    shown, more = page_of(request, rows, limit)
    return show(request, SamplePage(samples=_rows(unit, shown)), headers=more)


@router.get(
    "/samples/{sample}",
    operation_id="get_sample",
    summary="Look at a sample",
    response_model=SampleRead,
    responses=describe_problems(404, 422),
)
def get_sample(request: Request, sample: IdPath, unit: Reading) -> Response:
    """Look at one sample with the limits it reaches, rates of change and what it did to the estimate."""
    unit.caller.require(Scope.READ)
    return show(request, _read(unit, services.get_sample(unit.session, unit.caller.organisation_id, sample)))


@router.delete(
    "/samples/{sample}",
    operation_id="void_sample",
    summary="Void a sample",
    status_code=204,
    responses=describe_problems(404, 409, 412, 422),
)
def delete_sample(
    request: Request,
    sample: IdPath,
    unit: Writing,
    reason: Annotated[Line400 | None, Query(description="Why; kept in the record of changes.")] = None,
) -> Response:
    """Take back a sample recorded by mistake; the record stays, marked void, and the states follow."""
    row = services.get_sample(unit.session, unit.caller.organisation_id, sample)
    unit.require_match(request, _read(unit, row))
    void_sample(unit.session, unit.caller, unit.now, sample, reason)
    return unit.answer(None, 204)


def _read(unit: Unit, sample: Sample) -> SampleRead:
    findings = judge_sample(unit.session, unit.caller.organisation_id, sample)
    owner = fleet.get_vehicle_by_id(
        unit.session, unit.caller.organisation_id, findings.compartment.vehicle_id
    )
    return SampleRead.of(findings, owner.reference)


def _rows(unit: Unit, rows: Sequence[Sample]) -> list[SampleRow]:
    session, organisation_id = unit.session, unit.caller.organisation_id
    ids = sorted({row.compartment_id for row in rows})
    places = {place.id: place for place in fleet.compartments_by_id(session, organisation_id, ids)}
    owners = fleet.vehicle_references(
        session, organisation_id, {place.vehicle_id for place in places.values()}
    )
    return [
        SampleRow(
            **SampleRow.fields_of(
                row, owners[places[row.compartment_id].vehicle_id], places[row.compartment_id].reference
            )
        )
        for row in rows
    ]
