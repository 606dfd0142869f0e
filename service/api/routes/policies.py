"""Policies: how often to service a class of vehicles, and with how many rounds."""

from fastapi import APIRouter, Request, Response

from service.api.answers import show
from service.api.problems import describe_problems
from service.api.schemas.policies import PolicyCreate, PolicyRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Reading, UnneededKey
from service.usecases.plans.plan_policy import plan_policy

router = APIRouter(tags=["policies"], route_class=TokenFirst)


@router.post(
    "/policies",
    operation_id="plan_policy",
    summary="Plan a policy",
    dependencies=[UnneededKey],
    response_model=PolicyRead,
    responses=describe_problems(422),
)
def post_policy(request: Request, body: PolicyCreate, unit: Reading) -> Response:
    """Find the interval and the rounds with the lowest cost per 1,000 km, life used staying under its limit.

    One to six rounds stand side by side; a policy that you type in is tried over 24 months beside the advised one.
    What is not given is assumed; `numbers` says of each where it comes from. Nothing is stored.
    """
    planned = plan_policy(unit.session, unit.caller, body.of(), body.numbers(), body.own())
    return show(request, PolicyRead.of(planned))
