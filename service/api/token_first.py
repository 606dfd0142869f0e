"""Look at the token before the body: what comes without one is neither parsed nor put aside.

The framework reads a body before it asks anything that a route depends on. A token that was taken before goes straight
on, to be looked at in the transaction of the call; any other one is looked up first.
"""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute
from fastapi.security import HTTPAuthorizationCredentials
from starlette.concurrency import run_in_threadpool

from service.api.known_callers import KnownCallers
from service.api.units_of_work import authenticate, bearer, get_database, get_now


class TokenFirst(APIRoute):
    """A route of the API that asks for a token before it reads a body."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Put the question before the framework's own handler, where that would read a body."""
        handle = super().get_route_handler()
        if self.body_field is None:
            return handle

        async def ask_then_handle(request: Request) -> Response:
            await require_token(request)
            return await handle(request)

        return ask_then_handle


async def require_token(request: Request) -> None:
    """Refuse a caller whose token is not valid, unless it was a moment ago.

    Raises
    ------
    AuthenticationRequiredError
        If there is none, or it is of no use.
    """
    known: KnownCallers = request.app.state.known_callers
    if known.organisation_of(request) is None:
        await run_in_threadpool(_look_up, request, await bearer(request))


def _look_up(request: Request, credentials: HTTPAuthorizationCredentials | None) -> None:
    now = get_now(request)
    with get_database(request).snapshot() as session:
        authenticate(request, session, credentials, now)
    request.state.is_counted = True
