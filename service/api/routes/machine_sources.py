"""Machine sources: make, change, rotate, end; their machines and which vehicles these are."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from service.api.answers import number_in, page_of, show
from service.api.inputs import Cursor, IdPath, PageLimit
from service.api.problems import describe_problems
from service.api.schemas.machine_sources import (
    EquipmentLink,
    EquipmentPage,
    EquipmentRead,
    MachineValueDecision,
    MachineValuePage,
    MachineValueRead,
    PullSet,
    SourceChange,
    SourceCreate,
    SourceList,
    SourceRead,
    SourceSecret,
)
from service.api.schemas.tokens import SecretRotate
from service.api.targets import check_target
from service.api.token_first import TokenFirst
from service.api.units_of_work import Credentials, KeyHeader, Reading, Unit, Writing, hash_body, writing
from service.domain.external_ids import MAX_LONG_NUMBER
from service.domain.machine_meters import Meter
from service.domain.roles import Scope
from service.store.repositories import fleet, machine_sources
from service.store.tables.machine_sources import MachineEquipment
from service.usecases.machines import manage_sources
from service.usecases.machines.decide_value import decide_value
from service.usecases.machines.propose_offsets import propose_offsets
from service.usecases.machines.propose_vehicles import propose_vehicles

router = APIRouter(tags=["machines"], route_class=TokenFirst)
BodyHash = Annotated[str, Depends(hash_body)]


@router.post(
    "/machine-sources",
    operation_id="add_machine_source",
    summary="Add a machine source",
    status_code=201,
    response_model=SourceSecret,
    responses=describe_problems(409, 422),
)
def post_source(
    request: Request, body: SourceCreate, credentials: Credentials, body_hash: BodyHash, key: KeyHeader = None
) -> Response:
    """Add a maker's portal, a gateway or a box in the vehicles; its secret is shown here only.

    What it sends is judged on its own series, and becomes readings once its machines are linked to vehicles.
    """
    if body.pull is not None:
        check_target(request, credentials, body.pull.url)
    with writing(request, credentials, body_hash, key) as unit:
        row = manage_sources.add_source(unit.session, unit.caller, unit.now, body.name, _pull(body.pull))
        url = request.app.state.public_url
        shown = SourceSecret.with_secret(row, url, row.secret)
        again = SourceSecret.with_secret(row, url, None)
        return unit.created(shown, f"/v1/machine-sources/{shown.id}", remembered=again)


@router.get(
    "/machine-sources",
    operation_id="list_machine_sources",
    summary="List machine sources",
    response_model=SourceList,
    responses=describe_problems(),
)
def get_sources(request: Request, unit: Reading) -> Response:
    """List all sources, the ended ones too."""
    unit.caller.require(Scope.READ)
    rows = machine_sources.list_sources(unit.session, unit.caller.organisation_id)
    return show(request, SourceList(machine_sources=[SourceRead.of(row) for row in rows]))


@router.get(
    "/machine-sources/{machine_source}",
    operation_id="get_machine_source",
    summary="Look at a machine source",
    response_model=SourceRead,
    responses=describe_problems(404, 422),
)
def get_source(request: Request, machine_source: IdPath, unit: Reading) -> Response:
    """Look at one source: when it was heard of, how its pulls went."""
    unit.caller.require(Scope.READ)
    row = machine_sources.get_source(unit.session, unit.caller.organisation_id, machine_source)
    return show(request, SourceRead.of(row))


@router.patch(
    "/machine-sources/{machine_source}",
    operation_id="change_machine_source",
    summary="Change how a machine source is pulled",
    response_model=SourceRead,
    responses=describe_problems(404, 409, 412, 422),
)
def patch_source(
    request: Request,
    machine_source: IdPath,
    body: SourceChange,
    credentials: Credentials,
    body_hash: BodyHash,
    key: KeyHeader = None,
) -> Response:
    """Fetch documents from elsewhere, at other times, or no longer."""
    if body.pull is not None:
        check_target(request, credentials, body.pull.url)
    with writing(request, credentials, body_hash, key) as unit:
        present = machine_sources.get_source(
            unit.session, unit.caller.organisation_id, machine_source, for_update=True
        )
        unit.require_match(request, SourceRead.of(present))
        row = manage_sources.change_pull(
            unit.session, unit.caller, unit.now, machine_source, _pull(body.pull)
        )
        return unit.changed(SourceRead.of(row))


@router.post(
    "/machine-sources/{machine_source}/rotate",
    operation_id="rotate_machine_source_secret",
    summary="Give a machine source a new secret",
    response_model=SourceSecret,
    responses=describe_problems(404, 409, 422),
)
def post_rotate(
    request: Request, machine_source: IdPath, unit: Writing, body: SecretRotate | None = None
) -> Response:
    """Check messages by a new secret; until the given time those signed by the old one are taken too."""
    until = None if body is None else body.old_valid_until
    row = manage_sources.rotate_secret(unit.session, unit.caller, unit.now, machine_source, until)
    url = request.app.state.public_url
    again = SourceSecret.with_secret(row, url, None)
    return unit.answer(SourceSecret.with_secret(row, url, row.secret), remembered=again)


@router.post(
    "/machine-sources/{machine_source}/pull",
    operation_id="pull_machine_source",
    summary="Pull a machine source now",
    response_model=SourceRead,
    responses=describe_problems(404, 409, 422),
)
def post_pull(machine_source: IdPath, unit: Writing) -> Response:
    """Let the scheduler fetch at its next tick, whatever went wrong before."""
    row = manage_sources.pull_now(unit.session, unit.caller, unit.now, machine_source)
    return unit.answer(SourceRead.of(row))


@router.delete(
    "/machine-sources/{machine_source}",
    operation_id="end_machine_source",
    summary="End a machine source",
    status_code=204,
    response_class=Response,
    responses=describe_problems(404, 409, 412, 422),
)
def delete_source(request: Request, machine_source: IdPath, unit: Writing) -> Response:
    """Take nothing more from this source; what it sent stays."""
    row = machine_sources.get_source(
        unit.session, unit.caller.organisation_id, machine_source, for_update=True
    )
    unit.require_match(request, SourceRead.of(row))
    manage_sources.end_source(unit.session, unit.caller, unit.now, machine_source)
    return unit.answer(None, 204)


@router.get(
    "/machine-sources/{machine_source}/equipment",
    operation_id="list_machine_equipment",
    summary="List the machines of a source",
    response_model=EquipmentPage,
    responses=describe_problems(404, 422),
)
def get_equipment(
    request: Request, machine_source: IdPath, unit: Reading, limit: PageLimit = 100, cursor: Cursor = None
) -> Response:
    """List machines that the source has spoken of, linked to a vehicle or not, with the record of each meter."""
    unit.caller.require(Scope.READ)
    source = machine_sources.get_source(unit.session, unit.caller.organisation_id, machine_source)
    after = number_in(cursor, "after") or 0
    rows = machine_sources.list_equipment(
        unit.session, unit.caller.organisation_id, source.id or 0, after_id=after, limit=limit + 1
    )
    shown, more = page_of(request, rows, limit)
    return show(request, EquipmentPage(equipment=_shown(unit, shown)), headers=more)


@router.put(
    "/machine-sources/{machine_source}/equipment/{equipment}",
    operation_id="link_machine_equipment",
    summary="Say which vehicle a machine is",
    response_model=EquipmentRead,
    responses=describe_problems(404, 409, 422),
)
def put_equipment(machine_source: IdPath, equipment: IdPath, body: EquipmentLink, unit: Writing) -> Response:
    """Link a machine to a vehicle, or to none; offsets to the dashboard that are left out are learned.

    What has waited becomes readings at once, where the offset is known.
    """
    source = machine_sources.get_source(
        unit.session, unit.caller.organisation_id, machine_source, for_update=True
    )
    offsets: dict[Meter, float | None] = {
        Meter.ODOMETER: body.odometer_offset_km,
        Meter.ENGINE_HOURS: body.engine_hours_offset,
    }
    row = manage_sources.link_equipment(
        unit.session, unit.caller, unit.now, source, equipment, body.vehicle, offsets
    )
    return unit.answer(_shown(unit, [row])[0])


@router.get(
    "/machine-sources/{machine_source}/equipment/{equipment}/values",
    operation_id="list_machine_values",
    summary="List the values of a machine",
    response_model=MachineValuePage,
    responses=describe_problems(404, 422),
)
def get_values(
    request: Request,
    machine_source: IdPath,
    equipment: IdPath,
    unit: Reading,
    limit: PageLimit = 100,
    cursor: Cursor = None,
) -> Response:
    """List values as the source sent them, with what was decided about each and what came of it."""
    unit.caller.require(Scope.READ)
    organisation_id = unit.caller.organisation_id
    source = machine_sources.get_source(unit.session, organisation_id, machine_source)
    row = machine_sources.get_equipment(unit.session, organisation_id, source.id or 0, equipment)
    meters = machine_sources.meters_of(unit.session, organisation_id, [row.id or 0])
    kinds = {meter.id or 0: meter.meter for meter in meters.values()}
    after = number_in(cursor, "after", MAX_LONG_NUMBER) or 0
    rows = machine_sources.list_values(
        unit.session, organisation_id, list(kinds), after_id=after, limit=limit + 1
    )
    shown, more = page_of(request, rows, limit)
    page = MachineValuePage(values=[MachineValueRead.of(value, kinds[value.meter_id]) for value in shown])
    return show(request, page, headers=more)


@router.patch(
    "/machine-sources/{machine_source}/equipment/{equipment}/values/{machine_value}",
    operation_id="decide_machine_value",
    summary="Release, discard or renew a machine's value",
    response_model=MachineValueRead,
    responses=describe_problems(404, 409, 422),
)
def patch_value(
    machine_source: IdPath,
    equipment: IdPath,
    machine_value: IdPath,
    body: MachineValueDecision,
    unit: Writing,
) -> Response:
    """Say that a value is right, wrong, or the first after the meter was replaced; what was held since is judged anew.

    After `renew` the hours or kilometres of the source go on where they ended before, and so do the vehicle's.
    """
    organisation_id = unit.caller.organisation_id
    source = machine_sources.get_source(unit.session, organisation_id, machine_source, for_update=True)
    machine = machine_sources.get_equipment(unit.session, organisation_id, source.id or 0, equipment)
    row, meter = decide_value(
        unit.session, unit.caller, unit.now, source, machine, machine_value, body.decision
    )
    return unit.answer(MachineValueRead.of(row, meter.meter))


def _shown(unit: Unit, rows: Sequence[MachineEquipment]) -> list[EquipmentRead]:
    organisation_id = unit.caller.organisation_id
    meters = machine_sources.meters_of(unit.session, organisation_id, [row.id or 0 for row in rows])
    linked = {row.vehicle_id for row in rows if row.vehicle_id is not None}
    vehicles = fleet.vehicle_references(unit.session, organisation_id, linked)
    numbers = propose_vehicles(unit.session, organisation_id, rows)
    offsets = propose_offsets(unit.session, organisation_id, unit.now, meters.values())
    return [EquipmentRead.of(row, meters, vehicles, numbers, offsets) for row in rows]


def _pull(told: PullSet | None) -> manage_sources.Pull | None:
    if told is None:
        return None
    return manage_sources.Pull(url=told.url, minutes=told.minutes, authorization=told.authorization)
