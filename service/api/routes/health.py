"""For operators: is it alive, is it ready."""

from fastapi import APIRouter, Request
from pydantic import BaseModel

from service.errors import UnavailableError
from service.store.session import Database

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """A short yes."""

    status: str = "ok"


@router.get("/healthz", operation_id="get_health", summary="The process answers")
async def get_health() -> Health:
    """Answer without touching the database."""
    return Health()


@router.get("/readyz", operation_id="get_readiness", summary="The service can do its work")
def get_readiness(request: Request) -> Health:
    """Answer once the database answers."""
    database: Database = request.app.state.database
    if not database.is_reachable():
        raise UnavailableError("The database does not answer.")
    return Health()
