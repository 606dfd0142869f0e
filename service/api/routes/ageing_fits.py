"""Ageing rates fitted from the fleet's own samples: shown, accepted, taken back."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.inputs import IdPath
from service.api.problems import describe_problems
from service.api.schemas.ageing_fits import (
    AgeingFitCreate,
    AgeingFitList,
    AgeingFitRead,
    ProposalList,
    ProposalRead,
)
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, Writing
from service.domain.roles import Scope
from service.store.repositories import ageing_fits
from service.usecases.fluids.fit_ageing import accept_ageing, propose_ageing, revert_ageing

router = APIRouter(tags=["ageing fits"], route_class=TokenFirst)


@router.get(
    "/ageing-fits/proposal",
    operation_id="propose_ageing_fits",
    summary="Propose ageing rates",
    response_model=ProposalList,
    responses=describe_problems(),
)
def get_proposal(request: Request, unit: Reading) -> Response:
    """Fit the ageing rate of each fluid kind, duty and class from laboratory samples; nothing is changed."""
    proposals = propose_ageing(unit.session, unit.caller)
    return show(request, ProposalList(proposals=[ProposalRead.of(proposal) for proposal in proposals]))


@router.post(
    "/ageing-fits",
    operation_id="accept_ageing_fit",
    summary="Accept an ageing rate",
    status_code=201,
    response_model=AgeingFitRead,
    responses=describe_problems(409, 412, 422),
)
def post_fit(body: AgeingFitCreate, unit: Writing) -> Response:
    """Put a proposal in force, if it is still what was shown; states and projections follow."""
    group = (str(body.kind), str(body.duty), str(body.vehicle_class))
    fit = accept_ageing(unit.session, unit.caller, unit.now, group, body.multiplier)
    return unit.created(AgeingFitRead.of(fit), "/v1/ageing-fits")


@router.get(
    "/ageing-fits",
    operation_id="list_ageing_fits",
    summary="List ageing rates",
    response_model=AgeingFitList,
    responses=describe_problems(),
)
def get_fits(request: Request, unit: Reading) -> Response:
    """List the accepted fits, the latest first."""
    unit.caller.require(Scope.READ)
    rows = ageing_fits.list_fits(unit.session, unit.caller.organisation_id)
    return show(request, AgeingFitList(ageing_fits=[AgeingFitRead.of(row) for row in rows]))


@router.delete(
    "/ageing-fits/{fit}",
    operation_id="revert_ageing_fit",
    summary="Revert an ageing rate",
    status_code=204,
    responses=describe_problems(404, 409, 422),
)
def delete_fit(fit: IdPath, unit: Writing) -> Response:
    """Take a fit back; the one before it, or the default, is in force again."""
    revert_ageing(unit.session, unit.caller, unit.now, fit)
    return unit.answer(None, 204)
