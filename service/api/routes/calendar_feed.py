"""Addresses that carry their own secret, because calendar and mail programs send no token: feeds, and unsubscribing."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse

from service.api.answers import show
from service.api.inputs import IdPath
from service.api.limiter import Limiter
from service.api.problems import describe_problems
from service.api.schemas.subscriptions import FeedAddress, FeedCreate, FeedList, FeedRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, UnneededKey, Writing, get_database, get_now
from service.domain.roles import Scope
from service.errors import NotFoundError
from service.store.repositories import subscriptions
from service.store.tables.subscriptions import CalendarFeed
from service.usecases.deliveries import subscribe
from service.usecases.week.show_calendar import caller_of_feed, show_calendar

router = APIRouter(tags=["deliveries"], route_class=TokenFirst)

SecretPath = Annotated[str, Path(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9_-]+$")]
ASK_AGAIN = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>End these mails</title></head><body>'
    '<form method="post"><button>End these mails</button></form></body></html>'
)
ENDED = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Ended</title></head>'
    "<body><p>No more of these mails will be sent.</p></body></html>"
)


@router.get(
    "/calendar/{feed}.ics",
    operation_id="get_calendar",
    summary="Read a calendar feed",
    response_class=Response,
    responses={
        200: {"description": "The visits as iCalendar.", "content": {"text/calendar": {}}},
        **describe_problems(404, 422),
    },
)
def get_calendar(request: Request, feed: SecretPath) -> Response:
    """Give the visits of the latest lists to whoever has the feed's address; no token is needed."""
    now = get_now(request)
    with _counted_guesses(request), get_database(request).snapshot() as session:
        caller = caller_of_feed(session, feed)
        content = show_calendar(session, caller, now, request.app.state.public_url)
    return show(request, content, "text/calendar; charset=utf-8")


@router.post(
    "/calendar-feeds",
    operation_id="make_calendar_feed",
    summary="Make a calendar feed",
    status_code=201,
    response_model=FeedAddress,
    responses=describe_problems(409, 422),
)
def post_feed(request: Request, body: FeedCreate, unit: Writing) -> Response:
    """Make an address for calendar programs to subscribe to; it stands in this answer and nowhere else."""
    row, secret = subscribe.make_feed(unit.session, unit.caller, unit.now, body.name)
    url = f"{request.app.state.public_url}/v1/calendar/{secret}.ics"
    shown = _with(row, url)
    return unit.created(shown, f"/v1/calendar-feeds/{shown.id}", remembered=_with(row, None))


@router.get(
    "/calendar-feeds",
    operation_id="list_calendar_feeds",
    summary="List calendar feeds",
    response_model=FeedList,
    responses=describe_problems(),
)
def get_feeds(request: Request, unit: Reading) -> Response:
    """List all feeds, the revoked ones too, without their addresses."""
    unit.caller.require(Scope.ADMIN)
    rows = subscriptions.list_feeds(unit.session, unit.caller.organisation_id)
    return show(request, FeedList(calendar_feeds=[FeedRead.of(row) for row in rows]))


@router.get(
    "/calendar-feeds/{feed}",
    operation_id="get_calendar_feed",
    summary="Look at a calendar feed",
    response_model=FeedRead,
    responses=describe_problems(404, 422),
)
def get_feed(request: Request, feed: IdPath, unit: Reading) -> Response:
    """Look at one feed, without its address."""
    unit.caller.require(Scope.ADMIN)
    return show(request, FeedRead.of(subscriptions.get_feed(unit.session, unit.caller.organisation_id, feed)))


@router.delete(
    "/calendar-feeds/{feed}",
    operation_id="revoke_calendar_feed",
    summary="Revoke a calendar feed",
    status_code=204,
    response_class=Response,
    responses=describe_problems(404, 409, 412, 422),
)
def delete_feed(request: Request, feed: IdPath, unit: Writing) -> Response:
    """Let a feed's address lead nowhere from now on."""
    row = subscriptions.get_feed(unit.session, unit.caller.organisation_id, feed)
    unit.require_match(request, FeedRead.of(row))
    subscribe.revoke_feed(unit.session, unit.caller, unit.now, feed)
    return unit.answer(None, 204)


@router.get(
    "/unsubscribe/{code}",
    operation_id="ask_unsubscribe",
    summary="Ask whether to end mails",
    response_class=HTMLResponse,
    responses=describe_problems(422),
)
def get_unsubscribe(code: SecretPath) -> Response:
    """Ask: programs that look at every link in a mail must not end anything."""
    return HTMLResponse(ASK_AGAIN)


@router.post(
    "/unsubscribe/{code}",
    operation_id="unsubscribe",
    summary="End mails",
    dependencies=[UnneededKey],
    response_class=HTMLResponse,
    responses=describe_problems(404, 422),
)
def post_unsubscribe(request: Request, code: SecretPath) -> Response:
    """End the subscription whose mails carry this address (one click, RFC 8058); no token is needed."""
    with _counted_guesses(request), get_database(request).transaction() as session:
        subscribe.unsubscribe(session, get_now(request), code)
    return HTMLResponse(ENDED)


@contextmanager
def _counted_guesses(request: Request) -> Iterator[None]:
    """Refuse a source that keeps trying addresses that lead nowhere."""
    limiter: Limiter = request.app.state.limiter
    source = request.client.host if request.client else "unknown"
    now = get_now(request)
    try:
        yield
    except NotFoundError:
        limiter.slow_down(source, now)
        raise


def _with(row: CalendarFeed, url: str | None) -> FeedAddress:
    return FeedAddress(**FeedRead.of(row).model_dump(), url=url)
