"""Where a source of machine data is fetched from, and how often."""

import re
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.clients.targets import TargetRules
from service.domain import plausibility
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError
from service.store.repositories import machine_sources
from service.store.tables.machine_sources import MachineSource
from service.usecases.machines.manage_sources import SOUND_AUTHORIZATION, Pull, change_pull, shown_address
from service.web.forms import ADDRESS_FIELD, Form, FormReader, FormState, Posted
from service.web.pages.machines import HERE, SourcePath, show_source
from service.web.trust import require_own_origin, require_own_token
from service.web.visits import doing, looking

router = APIRouter()

MINUTES: Final = 60
AUTHORIZATION: Final = "pull_authorization"


@router.post("/settings/machines/{source}/pull")
def post_pull(request: Request, source: SourcePath, form: Form) -> Response:
    """Fetch from an address from now on; an empty one says that it is fetched from nowhere."""
    try:
        pull = _read(form, _known(request, source, form))
        if pull is not None:
            rules: TargetRules = request.app.state.target_rules
            rules.check(f"/{ADDRESS_FIELD}", pull.url)
        with doing(request, form) as visit:
            change_pull(visit.session, visit.caller, visit.now, source, pull)
            return visit.done(f"{HERE}/{source}", told="machine_address")
    except (InvalidInputError, ConflictError) as error:
        told = FormState.after(form, error)
        return show_source(request, source, 0, told, error)


def _known(request: Request, source: str, form: Posted) -> MachineSource:
    """Find the source for somebody who may set its address: nobody else has a name looked up for them."""
    require_own_origin(request)
    with looking(request, form) as visit:
        require_own_token(form, visit.secret)
        visit.caller.require(Scope.ADMIN)
        return machine_sources.get_source(visit.session, visit.caller.organisation_id, source)


def _read(form: Posted, known: MachineSource) -> Pull | None:
    """Read the form; an address as it was shown is the stored one, whose query may hold a secret."""
    if not form.text(ADDRESS_FIELD).strip():
        return None
    reader = FormReader(form)
    minutes = reader.optional_number("pull_minutes", plausibility.PULL_MINUTES)
    address = reader.line(ADDRESS_FIELD, maximum=500)
    authorization = form.text(AUTHORIZATION).strip() or None
    if authorization is not None and re.fullmatch(SOUND_AUTHORIZATION, authorization) is None:
        reader.refuse(AUTHORIZATION, "Must be printable ASCII on one line, at most 2000 characters.")
    reader.finish()
    return Pull(
        url=known.pull_url or "" if address == shown_address(known) else address,
        minutes=MINUTES if minutes is None else round(minutes),
        authorization=authorization,
    )
