"""The record of changes: who did what, and when."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import BeforeValidator, Field

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, PageLimit, digits_only
from service.api.problems import describe_problems
from service.api.schemas.audit import AuditEntryRead, AuditPage
from service.api.units_of_work import Reading
from service.domain.external_ids import MAX_LONG_NUMBER
from service.domain.roles import Scope
from service.store.repositories import access

router = APIRouter(tags=["access"])


@router.get(
    "/audit",
    operation_id="list_changes",
    summary="List recorded changes",
    response_model=AuditPage,
    responses=describe_problems(422),
)
def get_audit(
    request: Request,
    unit: Reading,
    object_type: Annotated[
        str | None, Query(min_length=1, max_length=40, pattern=r"^[a-z ]+$", examples=["vehicle"])
    ] = None,
    object_number: Annotated[
        Annotated[int, Field(ge=1, le=MAX_LONG_NUMBER, json_schema_extra={"format": "int64"})] | None,
        Query(description="The number in the object's id."),
        BeforeValidator(digits_only),
    ] = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List every change, the newest first."""
    unit.caller.require(Scope.ADMIN)
    rows = access.list_entries(
        unit.session,
        unit.caller.organisation_id,
        object_type=object_type,
        object_id=object_number,
        before_id=number_in(cursor, "before"),
        limit=limit + 1,
    )
    shown, more = page_of(request, rows, limit, "before")
    page = AuditPage(entries=[AuditEntryRead.of(row) for row in shown])
    return show(request, page, headers=more)
