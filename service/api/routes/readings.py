"""Readings: record them in bulk, look at them, decide on the ones that are held."""

from itertools import islice
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, FileZone, IdPath, NameQuery, PageLimit, ReferenceQuery, VehiclePath
from service.api.problems import describe_problems
from service.api.reading_results import MAX_ERRORS, refusals, render_results, render_rows
from service.api.reading_rows import batch_schema, parse_batch
from service.api.readings_upload import Upload, receive_upload, record_file
from service.api.schemas.readings import ReadingDecision, ReadingPage, ReadingRead, ReadingResults
from service.api.token_first import TokenFirst
from service.api.units_of_work import (
    Credentials,
    KeyHeader,
    Reading,
    Unit,
    WriteUnit,
    Writing,
    charge_rows,
    writing,
)
from service.domain.external_ids import MAX_LONG_NUMBER
from service.domain.outcomes import ReadingOutcome
from service.domain.roles import Scope
from service.errors import InvalidInputError
from service.store.repositories import fleet, readings
from service.usecases.readings.decide_readings import decide_reading
from service.usecases.readings.record_readings import record_readings

router = APIRouter(tags=["readings"], route_class=TokenFirst)

CSV_EXAMPLE = (
    "vehicle,taken_at,odometer,unit,source,reference\nVAN-07,2026-05-01T07:30:00+01:00,84210.4,km,driver,r1\n"
)
BODY: dict[str, Any] = {
    "required": True,
    "content": {
        "application/json": {"schema": batch_schema()},
        "text/csv": {"schema": {"type": "string"}, "example": CSV_EXAMPLE},
    },
}


@router.post(
    "/readings",
    operation_id="record_readings",
    summary="Record readings",
    response_model=ReadingResults,
    responses=describe_problems(409, 413, 415, 422),
    openapi_extra={"requestBody": BODY},
)
def post_readings(
    request: Request,
    credentials: Credentials,
    upload: Annotated[Upload, Depends(receive_upload)],
    key: KeyHeader = None,
    time_zone: FileZone | None = None,
) -> Response:
    """Record up to 10,000 readings as JSON, or a CSV file of any length.

    Every row has an outcome; one bad row never loses the good ones. If no row at all can be stored, the answer is 422.
    """
    if upload.is_csv:
        return record_file(request, credentials, upload, key, time_zone)
    with writing(request, credentials, upload.body_hash, key) as unit:
        return _record(request, unit, upload.content())


def _record(request: Request, unit: WriteUnit, body: bytes) -> Response:
    rows = parse_batch(body)
    charge_rows(request, unit.caller, len(rows), unit.now)
    outcomes = record_readings(unit.session, unit.caller, unit.now, rows)
    counts = outcomes.counts()
    if counts[ReadingOutcome.REJECTED] == len(outcomes):
        # The sender, not a row, has to change something.
        raise InvalidInputError(
            "No row could be stored; see errors.",
            list(islice(refusals(outcomes, "/readings/{}", range(len(outcomes))), MAX_ERRORS)),
        )
    request.state.reading_counts = counts
    return unit.answer(b"".join(render_results(counts, [render_rows(outcomes)])))


@router.get(
    "/readings",
    operation_id="list_readings",
    summary="List readings",
    response_model=ReadingPage,
    responses=describe_problems(404, 422),
)
def get_readings(
    request: Request,
    unit: Reading,
    vehicle: NameQuery | None = None,
    reference: ReferenceQuery | None = None,
    outcome: Annotated[ReadingOutcome | None, Query()] = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List readings in the order they were stored, with their outcome and reason."""
    return _page(request, unit, vehicle, reference, outcome, limit, cursor)


@router.get(
    "/vehicles/{vehicle}/readings",
    operation_id="list_vehicle_readings",
    summary="List a vehicle's readings",
    response_model=ReadingPage,
    responses=describe_problems(404, 422),
)
def get_vehicle_readings(
    request: Request, vehicle: VehiclePath, unit: Reading, limit: PageLimit = 100, cursor: Cursor = None
) -> Response:
    """List the readings of one vehicle in the order they were stored."""
    return _page(request, unit, vehicle, None, None, limit, cursor)


@router.patch(
    "/readings/{reading}",
    operation_id="decide_reading",
    summary="Release or discard a reading",
    response_model=ReadingRead,
    responses=describe_problems(404, 422),
)
def patch_reading(reading: IdPath, body: ReadingDecision, unit: Writing) -> Response:
    """Say that a reading is right or wrong; projections follow."""
    row = decide_reading(unit.session, unit.caller, unit.now, reading, body.decision)
    owner = fleet.get_vehicle_by_id(unit.session, unit.caller.organisation_id, row.vehicle_id)
    return unit.answer(ReadingRead.of(row, owner.reference))


def _page(
    request: Request,
    unit: Unit,
    vehicle: str | None,
    reference: str | None,
    outcome: ReadingOutcome | None,
    limit: int,
    cursor: str | None,
) -> Response:
    unit.caller.require(Scope.READ)
    owner = None if vehicle is None else fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle)
    after = number_in(cursor, "after", MAX_LONG_NUMBER) or 0
    rows = readings.list_readings(
        unit.session,
        unit.caller.organisation_id,
        vehicle_id=None if owner is None else owner.id,
        reference=reference,
        outcome=outcome,
        after_id=after,
        limit=limit + 1,
    )
    names = fleet.vehicle_references(
        unit.session, unit.caller.organisation_id, {row.vehicle_id for row in rows}
    )
    shown, more = page_of(request, rows, limit)
    page = ReadingPage(readings=[ReadingRead.of(row, names[row.vehicle_id]) for row in shown])
    return show(request, page, headers=more)
