"""The first steps: settings, depots, vehicles from a table, first readings."""

from collections.abc import Sequence
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.domain.fluid_kinds import KIND_LABELS, FluidKind
from service.domain.roles import Scope
from service.domain.zones import local_date
from service.errors import InvalidInputError, ServiceError
from service.store.repositories import fleet
from service.usecases.fleet.import_vehicles import (
    FIELDS,
    PlannedVehicle,
    VehicleFile,
    plan_vehicles,
    read_vehicle_file,
    register_planned,
    suggest_columns,
)
from service.web.catalogue import tell, translate
from service.web.contexts import ColumnChoice, PreviewRow, StartPage
from service.web.forms import EMPTY, Form, FormState, Posted
from service.web.rendering import frame_of, render
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

ROWS_SHOWN: Final = 60


@router.get("/start")
def get_start(request: Request) -> Response:
    """Show the first steps."""
    return _show(request, EMPTY)


@router.post("/start/vehicles")
def post_vehicles(request: Request, form: Form) -> Response:
    """Show what a table would register, or register it."""
    try:
        table = read_vehicle_file(form.text("file") or form.text("table"))
        columns = _columns(form, table)
        if form.text("do") == "register":
            with doing(request, form) as visit:
                today = local_date(visit.now, visit.zone)
                planned = plan_vehicles(table, columns, today)
                n_stored = register_planned(visit.session, visit.caller, visit.now, planned, _kinds(form))
                onward = visit.done("/vehicles", told="registered")
                wrong = [one for one in planned if one.errors]
                if not wrong and n_stored:
                    return onward
                return _page(visit, FormState(_kept(form)), table, columns, wrong, n_stored)
        return _show(request, FormState(_kept(form)), table, columns, posted=form)
    except InvalidInputError as error:
        return _show(request, FormState.after(form, error), error=error)


def _columns(posted: Posted, table: VehicleFile) -> dict[str, int]:
    """Columns as chosen; as guessed when the table was not looked at before."""
    chosen = {name: posted.text(f"column-{name}") for name in FIELDS}
    if not any(chosen.values()):
        return suggest_columns(table.header)
    return {
        name: int(place)
        for name, place in chosen.items()
        if place.isdecimal() and len(place) < 5 and int(place) < len(table.header)
    }


def _kinds(posted: Posted) -> list[FluidKind]:
    return [kind for kind in FluidKind if posted.text(f"kind-{kind}")]


def _kept(posted: Posted) -> dict[str, str]:
    """Fields as typed; a file's content stands in the table from now on."""
    typed = posted.typed
    content = typed.pop("file", "")
    return typed | {"table": content or typed.get("table", "")}


def _show(
    request: Request,
    form: FormState,
    table: VehicleFile | None = None,
    columns: dict[str, int] | None = None,
    error: ServiceError | None = None,
    posted: Posted | None = None,
) -> Response:
    with looking(request, posted) as visit:
        visit.caller.require(Scope.PLANNING)
        planned = (
            [] if table is None else plan_vehicles(table, columns or {}, local_date(visit.now, visit.zone))
        )
        return _page(visit, form, table, columns or {}, planned, None, status_of(error))


def _page(
    visit: Visit,
    form: FormState,
    table: VehicleFile | None,
    columns: dict[str, int],
    planned: Sequence[PlannedVehicle],
    n_stored: int | None,
    status: int = 200,
) -> Response:
    organisation_id = visit.caller.organisation_id
    wrong_first = sorted(planned, key=lambda one: not one.errors)
    page = StartPage(
        n_depots=len(fleet.list_depots(visit.session, organisation_id)),
        n_vehicles=fleet.count_vehicles(visit.session, organisation_id),
        form=form,
        columns=tuple(
            ColumnChoice(
                name=f"column-{name}",
                label=translate(f"start_field_{name}"),
                chosen=str(columns.get(name, "none")),
            )
            for name in FIELDS
        )
        if table is not None
        else (),
        headings=() if table is None else tuple((str(n), text) for n, text in enumerate(table.header)),
        fields=tuple(translate(f"start_field_{name}") for name in columns),
        rows=tuple(_row(one, columns) for one in wrong_first[:ROWS_SHOWN]),
        n_sound=sum(1 for one in planned if not one.errors),
        n_rows=len(planned),
        n_stored=n_stored,
        needs_vehicle=table is not None and "vehicle" not in columns,
        kinds=tuple((f"kind-{kind}", tell(KIND_LABELS[kind])) for kind in FluidKind),
        may_change=visit.may(Scope.ADMIN),
    )
    return render("start.html", frame_of(visit, "settings"), page, status)


def _row(one: PlannedVehicle, columns: dict[str, int]) -> PreviewRow:
    errors = tuple(f"{translate(f'start_field_{name}')}: {tell(told)}" for name, told in one.errors.items())
    return PreviewRow(
        number=one.number, cells=tuple(one.cells.get(name, "") for name in columns), errors=errors
    )
