"""API tokens: make, list, rotate, revoke."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath
from service.api.problems import describe_problems
from service.api.schemas.tokens import SecretRotate, TokenCreate, TokenList, TokenRead, TokenSecret
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import access
from service.store.tables.access import Token
from service.usecases.access.manage_tokens import create_token, revoke_token, rotate_token

router = APIRouter(tags=["access"], route_class=TokenFirst)


@router.get(
    "/tokens",
    operation_id="list_tokens",
    summary="List API tokens",
    response_model=TokenList,
    responses=describe_problems(),
)
def get_tokens(request: Request, unit: Reading) -> Response:
    """List all tokens, the revoked ones too, without their secrets."""
    unit.caller.require(Scope.ADMIN)
    rows = access.list_tokens(unit.session, unit.caller.organisation_id)
    return show(request, TokenList(tokens=[TokenRead.of(row) for row in rows]))


@router.post(
    "/tokens",
    operation_id="create_token",
    summary="Make an API token",
    status_code=201,
    response_model=TokenSecret,
    responses=describe_problems(404, 409, 422),
)
def post_token(body: TokenCreate, unit: Writing) -> Response:
    """Make a token; its secret stands in this answer and nowhere else."""
    token, secret = create_token(
        unit.session,
        unit.caller,
        unit.now,
        body.name,
        body.scopes,
        expires_at=body.expires_at,
        vehicle=body.vehicle,
    )
    shown = _with(token, secret)
    return unit.created(shown, "/v1/tokens", remembered=_with(token, None))


@router.post(
    "/tokens/{token}/rotate",
    operation_id="rotate_token",
    summary="Give an API token a new secret",
    response_model=TokenSecret,
    responses=describe_problems(404, 409, 422),
)
def post_rotate(token: IdPath, unit: Writing, body: SecretRotate | None = None) -> Response:
    """Give a token a new secret; the old one works until the given time."""
    until = None if body is None else body.old_valid_until
    row, secret = rotate_token(unit.session, unit.caller, unit.now, token, until)
    return unit.answer(_with(row, secret), remembered=_with(row, None))


@router.delete(
    "/tokens/{token}",
    operation_id="revoke_token",
    summary="Revoke an API token",
    status_code=204,
    response_class=Response,
    responses=describe_problems(404, 409, 422),
)
def delete_token(token: IdPath, unit: Writing) -> Response:
    """Make a token worthless from the next call on; both its secrets, if it is being rotated."""
    revoke_token(unit.session, unit.caller, unit.now, token)
    return unit.answer(None, 204)


def _with(token: Token, secret: str | None) -> TokenSecret:
    return TokenSecret(**TokenRead.of(token).model_dump(), secret=secret)
