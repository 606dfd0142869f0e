"""Subscriptions to events, by webhook or mail, and what became of each message."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, IdPath, PageLimit
from service.api.problems import describe_problems
from service.api.schemas.subscriptions import (
    DeliveryPage,
    DeliveryRead,
    DeliveryState,
    SubscriptionCreate,
    SubscriptionList,
    SubscriptionRead,
    SubscriptionSecret,
)
from service.api.schemas.tokens import SecretRotate
from service.api.targets import check_target
from service.api.token_first import TokenFirst
from service.api.units_of_work import (
    Credentials,
    KeyHeader,
    Reading,
    Writing,
    hash_body,
    writing,
)
from service.domain.roles import Scope
from service.store.repositories import outbox, subscriptions
from service.store.tables.subscriptions import Subscription
from service.usecases.deliveries import subscribe

router = APIRouter(tags=["deliveries"], route_class=TokenFirst)


@router.post(
    "/subscriptions",
    operation_id="subscribe",
    summary="Subscribe a receiver",
    status_code=201,
    response_model=SubscriptionSecret,
    responses=describe_problems(409, 422),
)
def post_subscription(
    request: Request,
    body: SubscriptionCreate,
    credentials: Credentials,
    body_hash: Annotated[str, Depends(hash_body)],
    key: KeyHeader = None,
) -> Response:
    """Tell a webhook or a mailbox of each published list; the secret of a webhook is shown here only.

    Webhooks follow the open Standard Webhooks scheme: signed, tried again for days, redirects not followed.
    """
    if body.channel == "webhook":
        check_target(request, credentials, body.target)
    with writing(request, credentials, body_hash, key) as unit:
        row = subscribe.subscribe(unit.session, unit.caller, unit.now, body.channel, body.target, body.events)
        location = f"/v1/subscriptions/{SubscriptionRead.of(row).id}"
        return unit.created(_with(row, row.secret), location, remembered=_with(row, None))


@router.get(
    "/subscriptions",
    operation_id="list_subscriptions",
    summary="List subscriptions",
    response_model=SubscriptionList,
    responses=describe_problems(),
)
def get_subscriptions(request: Request, unit: Reading) -> Response:
    """List all subscriptions, the ended ones too."""
    unit.caller.require(Scope.ADMIN)
    rows = subscriptions.list_subscriptions(unit.session, unit.caller.organisation_id)
    return show(request, SubscriptionList(subscriptions=[SubscriptionRead.of(row) for row in rows]))


@router.get(
    "/subscriptions/{subscription}",
    operation_id="get_subscription",
    summary="Look at a subscription",
    response_model=SubscriptionRead,
    responses=describe_problems(404, 422),
)
def get_subscription(request: Request, subscription: IdPath, unit: Reading) -> Response:
    """Look at one subscription."""
    unit.caller.require(Scope.ADMIN)
    row = subscriptions.get_subscription(unit.session, unit.caller.organisation_id, subscription)
    return show(request, SubscriptionRead.of(row))


@router.post(
    "/subscriptions/{subscription}/rotate",
    operation_id="rotate_subscription_secret",
    summary="Give a webhook a new secret",
    response_model=SubscriptionSecret,
    responses=describe_problems(404, 409, 422),
)
def post_rotate(subscription: IdPath, unit: Writing, body: SecretRotate | None = None) -> Response:
    """Sign with a new secret; until the given time each message carries a signature by the old one too."""
    until = None if body is None else body.old_valid_until
    row = subscribe.rotate_secret(unit.session, unit.caller, unit.now, subscription, until)
    return unit.answer(_with(row, row.secret), remembered=_with(row, None))


@router.delete(
    "/subscriptions/{subscription}",
    operation_id="end_subscription",
    summary="End a subscription",
    status_code=204,
    response_class=Response,
    responses=describe_problems(404, 409, 412, 422),
)
def delete_subscription(request: Request, subscription: IdPath, unit: Writing) -> Response:
    """Send this receiver nothing more."""
    row = subscriptions.get_subscription(unit.session, unit.caller.organisation_id, subscription)
    unit.require_match(request, SubscriptionRead.of(row))
    subscribe.end_subscription(unit.session, unit.caller, unit.now, subscription)
    return unit.answer(None, 204)


@router.get(
    "/deliveries",
    operation_id="list_deliveries",
    summary="List deliveries",
    response_model=DeliveryPage,
    responses=describe_problems(422),
)
def get_deliveries(
    request: Request,
    unit: Reading,
    state: Annotated[DeliveryState | None, Query()] = None,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List messages and what became of them, the newest first."""
    unit.caller.require(Scope.ADMIN)
    rows = outbox.list_messages(
        unit.session,
        unit.caller.organisation_id,
        state=state,
        before_id=number_in(cursor, "before"),
        limit=limit + 1,
    )
    shown, more = page_of(request, rows, limit, "before")
    page = DeliveryPage(deliveries=[DeliveryRead.of(row) for row in shown])
    return show(request, page, headers=more)


@router.post(
    "/deliveries/{delivery}/retry",
    operation_id="retry_delivery",
    summary="Try a delivery again now",
    response_model=DeliveryRead,
    responses=describe_problems(404, 409, 422),
)
def post_retry(delivery: IdPath, unit: Writing) -> Response:
    """Try what waits or was given up again at the next tick, under the same message id."""
    row = subscribe.retry_delivery(unit.session, unit.caller, unit.now, delivery)
    return unit.answer(DeliveryRead.of(row))


def _with(row: Subscription, secret: str | None) -> SubscriptionSecret:
    return SubscriptionSecret(**SubscriptionRead.of(row).model_dump(), secret=secret)
