"""How many requests may be under way at once; the others wait their turn without holding a thread.

A request takes a thread for each of its steps and gives it back in between, but keeps its transaction. If the threads
were all taken by requests that wait for a lock, the one that holds it would never get a thread to finish on. So no
more requests begin than there are threads and connections to finish them: on SQLite one writer, since there can only
be one, and never so many readers that the pool runs dry.
"""

import asyncio
from enum import Enum
from typing import Final

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.known_callers import KnownCallers
from service.api.limiter import Limiter
from service.api.places import FairPlaces, QueueFullError
from service.api.problems import render_problem
from service.api.secret_paths import PREFIXES
from service.clock import Clock
from service.errors import RateLimitedError, UnavailableError
from service.store.session import Database

SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})
FREE_PATHS: Final = (
    "/healthz",
    "/livez",
    "/readyz",
    "/version",
    "/metrics",
    "/static",
    "/docs",
    "/openapi.json",
)
"""Answered at once, since they hold nothing while they wait for anything."""

UPLOAD_PATHS: Final = frozenset({"/v1/readings", "/v1/samples"})
"""Where a file may be sent, which is spooled to disk and not kept in memory."""

UPLOAD_TYPE: Final = "text/csv"
SQLITE_THREADS: Final = 4
"""More threads fight over the interpreter lock: 40 answer a quarter of the requests that 4 do."""

LONGEST_WAIT_SECONDS: Final = 4.5
"""For a place: who hears within five seconds that the others are stuck can still do something else. Who has a place may
wait longer, for a lock.
"""

RETRY_AFTER_SECONDS: Final = 5
RETRY_AFTER_FULL_SECONDS: Final = 1
NO_PLACE: Final = "Too many calls at once; nothing was stored, send the same call again."


class Work(Enum):
    """What a request does, as far as it takes something that others wait for."""

    READ = "read"
    WRITE = "write"
    IMPORT = "import"
    """A file of any length: many transactions, one after the other."""


def is_upload(request: Request) -> bool:
    """Whether a file is sent, to an address that takes one."""
    kind = request.headers.get("content-type", "")
    return request.url.path in UPLOAD_PATHS and request.method == "POST" and kind.startswith(UPLOAD_TYPE)


def work_of(request: Request) -> Work:
    """What kind of place a request needs; an address that is a secret notes that it was used."""
    if is_upload(request):
        return Work.IMPORT
    is_read = request.method in SAFE_METHODS and not request.url.path.startswith(PREFIXES)
    return Work.READ if is_read else Work.WRITE


class NoPlaceError(Exception):
    """No place became free in time."""


def threads_for(database: Database) -> int:
    """How many threads serve requests: on SQLite more would fight over the interpreter's lock."""
    return SQLITE_THREADS if database.is_sqlite else database.pool_size


class Turns:
    """The places that requests take, by kind."""

    def __init__(self, n_threads: int, *, is_one_writer: bool) -> None:
        self._places = {
            Work.READ: FairPlaces(n_threads),
            Work.WRITE: FairPlaces(1 if is_one_writer else max(1, n_threads // 2)),
            Work.IMPORT: FairPlaces(1 if is_one_writer else max(1, n_threads // 4)),
        }

    async def begin(self, work: Work, key: str) -> None:
        """Wait for a place in the queue of an organisation.

        Raises
        ------
        NoPlaceError
            If none becomes free in time.
        QueueFullError
            If the queue is full.
        """
        try:
            await asyncio.wait_for(self._places[work].take(key), LONGEST_WAIT_SECONDS)
        except TimeoutError:
            raise NoPlaceError from None

    def end(self, work: Work, key: str) -> None:
        """Give the place to the next one."""
        self._places[work].give_back(key)


class _Turn:
    """One request's place: taken once, given back once."""

    def __init__(self, turns: Turns, work: Work, key: str) -> None:
        self._turns = turns
        self.work = work
        self._key = key
        self._is_held = False

    async def begin(self) -> None:
        await self._turns.begin(self.work, self._key)
        self._is_held = True

    def end(self) -> None:
        if self._is_held:
            self._is_held = False
            self._turns.end(self.work, self._key)

    def beginning_after(self, receive: Receive) -> Receive:
        """Let the body arrive first: a slow sender keeps nobody waiting."""
        is_whole = False

        async def receive_then_begin() -> Message:
            nonlocal is_whole
            message = await receive()
            if not is_whole and not message.get("more_body", False):
                is_whole = True
                await self.begin()
            return message

        return receive_then_begin

    def ending_before(self, send: Send) -> Send:
        """Give the place back before the answer leaves: all is stored by then, and a slow reader holds nothing."""

        async def end_then_send(message: Message) -> None:
            self.end()
            await send(message)

        return end_then_send


class InTurn:
    """ASGI middleware that lets requests begin one after the other, once their bodies have arrived."""

    def __init__(self, app: ASGIApp, *, turns: Turns, known: KnownCallers) -> None:
        self._app = app
        self._turns = turns
        self._known = known

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on when it is its turn."""
        if scope["type"] != "http" or scope["path"].startswith(FREE_PATHS):
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        organisation_id = self._known.organisation_of(request)
        turn = _Turn(self._turns, work_of(request), _queue_of(request, organisation_id))
        try:
            _count_call(request, organisation_id)
            if turn.work is Work.IMPORT:
                receive = turn.beginning_after(receive)
            else:
                if _has_body(request):
                    receive = _replaying(await _whole_body(receive), receive)
                await turn.begin()
            await self._app(scope, receive, turn.ending_before(send))
        except NoPlaceError:
            headers = {"Retry-After": str(RETRY_AFTER_SECONDS)}
            answer = render_problem(request, 503, NO_PLACE, UnavailableError.code, headers=headers)
            await answer(scope, receive, send)
        except QueueFullError:
            await _refuse(request, RateLimitedError(NO_PLACE, RETRY_AFTER_FULL_SECONDS))(scope, receive, send)
        except RateLimitedError as error:
            await _refuse(request, error)(scope, receive, send)
        finally:
            turn.end()


def _queue_of(request: Request, organisation_id: int | None) -> str:
    """Name of the queue in which a request waits: its organisation's, or that of the address it came from."""
    if organisation_id is not None:
        return f"organisation {organisation_id}"
    return request.client.host if request.client else "unknown"


def _count_call(request: Request, organisation_id: int | None) -> None:
    """Count a call of an organisation that is known already, so that one too many costs next to nothing."""
    if organisation_id is not None:
        limiter: Limiter = request.app.state.limiter
        clock: Clock = request.app.state.clock
        limiter.check_call(organisation_id, clock.now())
        request.state.is_counted = True


def _refuse(request: Request, error: RateLimitedError) -> ASGIApp:
    headers = {"Retry-After": str(error.retry_after_seconds)}
    return render_problem(request, 429, error.detail, error.code, headers=headers)


def _has_body(request: Request) -> bool:
    return "transfer-encoding" in request.headers or request.headers.get("content-length", "0") != "0"


async def _whole_body(receive: Receive) -> Message:
    """Take the whole body; the guard around this one bounds its size and time."""
    pieces = []
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return message
        pieces.append(message.get("body", b""))
        if not message.get("more_body", False):
            return {"type": "http.request", "body": b"".join(pieces), "more_body": False}


def _replaying(body: Message, receive: Receive) -> Receive:
    """Give the body first, then whatever else there is to receive."""
    waiting = [body]

    async def replay() -> Message:
        return waiting.pop() if waiting else await receive()

    return replay
