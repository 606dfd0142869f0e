"""Say what a held value of a machine is: right, wrong, or the first of a meter that counts anew."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError
from service.store.repositories import machine_sources
from service.usecases.machines.decide_value import ValueDecision, decide_value
from service.web.forms import Form, FormState, Posted
from service.web.pages.machines import HERE, EquipmentPath, SourcePath, show_source
from service.web.visits import doing

router = APIRouter()

ValuePath = Annotated[str, Path(pattern=r"^mva_[0-9]{1,19}$")]


@router.post("/settings/machines/{source}/{equipment}/{value}")
def post_value(
    request: Request, source: SourcePath, equipment: EquipmentPath, value: ValuePath, form: Form
) -> Response:
    """Decide on a held value; what was held since is judged anew."""
    try:
        with doing(request, form) as visit:
            visit.caller.require(Scope.ADMIN)
            decision = _decision(form)
            organisation_id = visit.caller.organisation_id
            row = machine_sources.get_source(visit.session, organisation_id, source, for_update=True)
            machine = machine_sources.get_equipment(visit.session, organisation_id, row.id or 0, equipment)
            decide_value(visit.session, visit.caller, visit.now, row, machine, value, decision)
            return visit.done(f"{HERE}/{source}", told=f"machine_{decision}")
    except (InvalidInputError, ConflictError) as error:
        return show_source(request, source, 0, FormState.after(form, error), error)


def _decision(form: Posted) -> ValueDecision:
    pressed = form.text("decision")
    if pressed not in set(ValueDecision):
        raise InvalidInputError("Press one of the buttons of the page.")
    return ValueDecision(pressed)
