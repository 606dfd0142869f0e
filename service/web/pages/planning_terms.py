"""What the organisation plans with: costs, risks and how far to look ahead."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.domain.money import minor_from_major
from service.domain.planning_terms import PLANNING_TERMS
from service.domain.plausibility import Bounds
from service.domain.roles import Scope
from service.errors import ConflictError, FieldError, InvalidInputError, ServiceError
from service.store.tables.organisation import Organisation
from service.usecases.orders.change_planning import change_planning
from service.web.forms import EMPTY, Form, FormReader, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.views.planning_terms import planning_page, shown_terms, units_in_one
from service.web.visits import doing, looking, status_of

router = APIRouter()


@router.get("/settings/planning")
def get_terms(request: Request) -> Response:
    """Show the terms."""
    return _show(request, EMPTY)


@router.post("/settings/planning")
def post_terms(request: Request, form: Form) -> Response:
    """Set those that were typed anew; an emptied one goes back to what is usual."""
    try:
        with doing(request, form) as visit:
            changes = _changes(form, visit.organisation)
            if changes:
                change_planning(visit.session, visit.caller, visit.now, changes)
            return visit.done("/settings/planning", told="settings")
    except (InvalidInputError, ConflictError) as error:
        moved = [FieldError(one.pointer.replace("/terms/", "/"), one.detail) for one in error.errors]
        return _show(request, FormState.after(form, type(error)(error.detail, moved)), error)


def _changes(posted: Posted, organisation: Organisation) -> dict[str, float | None]:
    currency = organisation.currency
    reader, shown = FormReader(posted), shown_terms(organisation.planning, currency)
    changes: dict[str, float | None] = {}
    for name, term in PLANNING_TERMS.items():
        units = units_in_one(name, currency)
        low, high = term.minimum / units, term.maximum / units
        value = reader.optional_number(name, Bounds(low, high, ""))
        if posted.text(name).strip() == shown[name]:
            continue
        if value is None or "_minor" not in name:
            changes[name] = None if value is None else round(value * units, 9)
            continue
        try:
            changes[name] = float(minor_from_major(f"/{name}", value, currency))
        except InvalidInputError as error:
            reader.errors.extend(error.errors)
    reader.finish()
    return changes


def _show(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.PLANNING)
        page = planning_page(visit.organisation, visit.presentation, form, may_set=visit.may(Scope.ADMIN))
        return render("planning_terms.html", frame_of(visit, "settings"), page, status_of(error))
