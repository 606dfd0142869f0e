"""Where an address that a caller gives leads: found out outside of any transaction, for somebody who may ask only."""

from fastapi import Request

from service.api.units_of_work import Credentials, authenticate, get_database, get_now
from service.clients.targets import POINTER, TargetRules
from service.domain.roles import Scope


def check_target(request: Request, credentials: Credentials, target: str) -> None:
    """Refuse an address that the service must not call.

    Raises
    ------
    InvalidInputError
        If it leads to nowhere or to where no call may go.
    """
    with get_database(request).snapshot() as session:
        authenticate(request, session, credentials, get_now(request)).require(Scope.ADMIN)
    rules: TargetRules = request.app.state.target_rules
    rules.check(POINTER, target)
