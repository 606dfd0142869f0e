"""Where machines report from: make and end sources, and say which vehicle each machine is."""

from collections.abc import Iterable
from datetime import timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from service.domain import plausibility
from service.domain.external_ids import IdKind, format_id
from service.domain.machine_meters import Meter
from service.domain.outcomes import ReadingOutcome
from service.domain.roles import Scope
from service.errors import ConflictError, InvalidInputError, NotFoundError, ServiceError
from service.store.repositories import fleet, machine_sources
from service.store.tables.machine_sources import MachineMeter, MachineReading
from service.usecases.machines.manage_sources import (
    add_source,
    end_source,
    link_equipment,
    pull_now,
    rotate_secret,
)
from service.usecases.machines.propose_offsets import propose_offsets
from service.usecases.machines.propose_vehicles import propose_vehicles
from service.web.forms import EMPTY, Form, FormReader, FormState
from service.web.rendering import NEVER_KEPT, frame_of, render
from service.web.views.machines import MACHINES_A_PAGE, Machines, machines_page, source_page
from service.web.visits import Visit, doing, looking, status_of

router = APIRouter()

SourcePath = Annotated[str, Path(pattern=r"^src_[0-9]{1,19}$")]
EquipmentPath = Annotated[str, Path(pattern=r"^eqp_[0-9]{1,19}$")]
HERE: Final = "/settings/machines"
MOST: Final = 2**62
OLD_SECRET_LASTS: Final = timedelta(days=1)
"""Time to change the secret where the machines report from."""

After = Annotated[int, Query(ge=0, le=MOST)]


@router.get("/settings/machines")
def get_sources(request: Request) -> Response:
    """Show the sources."""
    return _show(request, EMPTY)


@router.post("/settings/machines")
def post_source(request: Request, form: Form) -> Response:
    """Make a source that sends, and show its secret, once."""
    try:
        with doing(request, form) as visit:
            reader = FormReader(form)
            name = reader.line("name", maximum=40)
            reader.finish()
            row = add_source(visit.session, visit.caller, visit.now, name, None)
            visit.done(HERE)
            return _page(visit, EMPTY, secret=row.secret)
    except (InvalidInputError, ConflictError) as error:
        return _show(request, FormState.after(form, error), error)


@router.get("/settings/machines/{source}")
def get_source(request: Request, source: SourcePath, after: After = 0) -> Response:
    """Show a source with its machines."""
    return show_source(request, source, after, EMPTY)


@router.post("/settings/machines/{source}")
def post_step(request: Request, source: SourcePath, form: Form) -> Response:
    """Fetch now, make a new secret, or take nothing more from it."""
    try:
        with doing(request, form) as visit:
            if form.text("do") == "rotate":
                until = visit.now + OLD_SECRET_LASTS if form.text("keep_old") else None
                row = rotate_secret(visit.session, visit.caller, visit.now, source, until)
                visit.done(f"{HERE}/{source}")
                return source_response(visit, source, 0, EMPTY, secret=row.secret)
            return _take_step(visit, source, form.text("do"))
    except (InvalidInputError, ConflictError) as error:
        return show_source(request, source, 0, FormState.after(form, error), error)


@router.post("/settings/machines/{source}/{equipment}")
def post_link(request: Request, source: SourcePath, equipment: EquipmentPath, form: Form) -> Response:
    """Say which vehicle a machine is; an empty field says that it is none."""
    try:
        with doing(request, form) as visit:
            _link(visit, source, equipment, FormReader(form))
            return visit.done(f"{HERE}/{source}", told="machine_linked")
    except (InvalidInputError, ConflictError) as error:
        first = min(int(equipment.removeprefix("eqp_")), MOST) - 1
        return show_source(request, source, first, FormState.after(form, error), error)


def _take_step(visit: Visit, source: str, step: str) -> Response:
    if step == "pull":
        pull_now(visit.session, visit.caller, visit.now, source)
        return visit.done(f"{HERE}/{source}", told="machine_pull")
    if step == "end":
        end_source(visit.session, visit.caller, visit.now, source)
        return visit.done(HERE, told="machine_ended")
    raise InvalidInputError("Press one of the buttons of the page.")


def _link(visit: Visit, source: str, equipment: str, reader: FormReader) -> None:
    """Link to a vehicle that exists; a number that nobody has is a mistake in the field, not a missing page."""
    organisation_id = visit.caller.organisation_id
    km_a_unit = 1.0 / visit.presentation.distance_value(1.0)
    vehicle = reader.optional_line(f"{equipment}-vehicle", maximum=40)
    offsets = {
        Meter.ODOMETER: reader.optional_number(
            f"{equipment}-{Meter.ODOMETER}", plausibility.OFFSET_KM, to_base=lambda typed: typed * km_a_unit
        ),
        Meter.ENGINE_HOURS: reader.optional_number(
            f"{equipment}-{Meter.ENGINE_HOURS}", plausibility.OFFSET_HOURS
        ),
    }
    reader.finish()
    if vehicle is not None:
        try:
            fleet.get_vehicle(visit.session, organisation_id, vehicle)
        except NotFoundError:
            raise InvalidInputError.at(
                f"/{equipment}-vehicle", f"No vehicle has the number {vehicle}."
            ) from None
    row = machine_sources.get_source(visit.session, organisation_id, source, for_update=True)
    link_equipment(visit.session, visit.caller, visit.now, row, equipment, vehicle, offsets)


def _show(request: Request, form: FormState, error: ServiceError | None = None) -> Response:
    with looking(request) as visit:
        visit.caller.require(Scope.ADMIN)
        return _page(visit, form, error)


def _page(visit: Visit, form: FormState, error: ServiceError | None = None, secret: str = "") -> Response:
    rows = machine_sources.list_sources(visit.session, visit.caller.organisation_id)
    page = machines_page(rows, visit.presentation, visit.zone, form, secret)
    headers = NEVER_KEPT if secret else None
    return render("machines.html", frame_of(visit, "settings"), page, status_of(error), headers)


def show_source(
    request: Request, source: str, after: int, form: FormState, error: ServiceError | None = None
) -> Response:
    """Show a source, with a form as it was sent if something in it was wrong."""
    with looking(request) as visit:
        return source_response(visit, source, after, form, error)


def source_response(
    visit: Visit,
    source: str,
    after: int,
    form: FormState,
    error: ServiceError | None = None,
    secret: str = "",
) -> Response:
    """Show a source within a visit; a secret that was just made is on this page alone."""
    visit.caller.require(Scope.ADMIN)
    session, organisation_id = visit.session, visit.caller.organisation_id
    row = machine_sources.get_source(session, organisation_id, source)
    found = machine_sources.list_equipment(
        session, organisation_id, row.id or 0, after_id=after, limit=MACHINES_A_PAGE + 1
    )
    meters = machine_sources.meters_of(session, organisation_id, [one.id or 0 for one in found])
    linked = {format_id(IdKind.VEHICLE, one.vehicle_id) for one in found if one.vehicle_id is not None}
    known = fleet.vehicles_by_reference(session, organisation_id, sorted(linked))
    machines = Machines(
        found=found,
        meters=meters,
        held=_held(visit, meters.values()),
        names={one.id or 0: one.reference for one in known.values()},
        proposed_vehicles=propose_vehicles(session, organisation_id, found),
        proposed_offsets=propose_offsets(session, organisation_id, visit.now, meters.values()),
    )
    page = source_page(row, machines, visit.presentation, visit.zone, form, secret)
    headers = NEVER_KEPT if secret else None
    return render("machine_source.html", frame_of(visit, "settings"), page, status_of(error), headers)


def _held(visit: Visit, meters: Iterable[MachineMeter]) -> dict[int, list[MachineReading]]:
    """Held values that can be decided on, by meter: those among its latest."""
    with_some = [one.id or 0 for one in meters if one.n_held > 0]
    if not with_some:
        return {}
    values = machine_sources.latest_values(visit.session, visit.caller.organisation_id, with_some)
    return {key: [one for one in rows if one.outcome == ReadingOutcome.HELD] for key, rows in values.items()}
