"""For operators: is it alive, is it ready, which version, how is it doing."""

from datetime import datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from pydantic import BaseModel, Field

from service.api.metrics import Metrics
from service.api.problems import describe_problems
from service.api.units_of_work import get_database, get_now
from service.errors import UnavailableError
from service.store.repositories import jobs
from service.store.schema import current_revision, newest_revision
from service.store.session import Database

router = APIRouter(tags=["health"])
Now = Annotated[datetime, Depends(get_now)]
Store = Annotated[Database, Depends(get_database)]


class Health(BaseModel):
    """A short yes."""

    status: str = "ok"


class Readiness(Health):
    """What the service rests on."""

    schema_revision: str = Field(description="Schema of the database; the one this program works with.")
    scheduler_age_seconds: float | None = Field(
        description="How long ago a scheduler looked for due work; null if none ever has. Beyond ten minutes no "
        "due list will be published until one is started."
    )


class Version(BaseModel):
    """What is running."""

    version: str
    schema_revision: str


@router.get("/healthz", operation_id="get_health", summary="The process answers")
async def get_health() -> Health:
    """Answer without touching the database."""
    return Health()


@router.get("/livez", operation_id="get_liveness", summary="The process answers")
async def get_liveness() -> Health:
    """Answer without touching the database."""
    return Health()


@router.get(
    "/readyz",
    operation_id="get_readiness",
    summary="The service can do its work",
    responses=describe_problems(503),
)
def get_readiness(database: Store, now: Now) -> Readiness:
    """Answer once the database answers and has the schema of this program."""
    if not database.is_reachable():
        raise UnavailableError("The database does not answer.")
    present = current_revision(database)
    if present != wanted_revision():
        raise UnavailableError("The database is not at the schema of this program; it has to be migrated.")
    with database.snapshot() as session:
        ticked_at = jobs.latest_heartbeat(session)
    age = None if ticked_at is None else max(0.0, (now - ticked_at).total_seconds())
    return Readiness(schema_revision=wanted_revision(), scheduler_age_seconds=age)


@router.get("/version", operation_id="get_version", summary="Which version is running")
async def get_version() -> Version:
    """Name the program's version and the schema it works with."""
    return Version(version=program_version(), schema_revision=wanted_revision())


@router.get(
    "/metrics",
    operation_id="get_metrics",
    summary="Figures for Prometheus",
    response_class=Response,
    responses={
        200: {"description": "Text exposition format.", "content": {"text/plain": {}}},
        **describe_problems(503),
    },
)
def get_metrics(request: Request, database: Store, now: Now) -> Response:
    """Counters of this process, and figures of the whole service read from the database."""
    metrics: Metrics = request.app.state.metrics
    return Response(metrics.render(database, now), media_type=CONTENT_TYPE_LATEST)


@cache
def wanted_revision() -> str:
    """Schema that this program works with."""
    return newest_revision()


@cache
def program_version() -> str:
    """Version of the installed package, or that it runs from its source folder."""
    try:
        return version("sumpwise")
    except PackageNotFoundError:
        return "source"
