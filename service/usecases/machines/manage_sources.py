"""Sources of machine data: make, change and end them, rotate secrets, say which vehicles their machines are."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import urlsplit

from sqlmodel import Session

from service.domain.machine_meters import Meter, OffsetOrigin
from service.domain.roles import Scope
from service.errors import DuplicateError, InvalidInputError, StateTransitionError
from service.store.repositories import fleet, machine_sources
from service.store.tables.machine_sources import MachineEquipment, MachineMeter, MachineSource
from service.usecases.access.audit import record_change
from service.usecases.access.caller import Caller
from service.usecases.access.webhook_secrets import new_secret, replace_secret
from service.usecases.machines.correct_readings import take_back_readings
from service.usecases.machines.pass_on_values import pass_on_values
from service.usecases.readings.known_readings import KEPT_SOURCES

MOST_SOURCES: Final = 50
"""Sources of one organisation; each that is pulled costs calls every few minutes."""

OBJECT: Final = "machine source"
SOUND_AUTHORIZATION: Final = r"^[\x20-\x7e]{1,2000}$"
"""What may be sent as a header: printable ASCII on one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """Where and how often documents are fetched; the authorization is what is sent as that header."""

    url: str
    minutes: int
    authorization: str | None


def add_source(
    session: Session, caller: Caller, now: datetime, name: str, pull: Pull | None
) -> MachineSource:
    """Make a source; where its address leads was checked before, and is checked again at each pull.

    Raises
    ------
    DuplicateError
        If the name is taken, by an ended source too: its readings carry it.
    """
    caller.require(Scope.ADMIN)
    fleet.lock_organisation(session, caller.organisation_id)
    rows = machine_sources.list_sources(session, caller.organisation_id)
    if name in KEPT_SOURCES or any(row.name == name for row in rows):
        raise DuplicateError("There is a source with this name already; its readings carry it.")
    if sum(row.ended_at is None for row in rows) >= MOST_SOURCES:
        raise InvalidInputError(f"An organisation has at most {MOST_SOURCES} machine sources.")
    row = MachineSource(
        organisation_id=caller.organisation_id,
        name=name,
        secret=new_secret(),
        created_at=now,
        created_by=caller.actor[:80],
    )
    _set_pull(row, now, pull)
    session.add(row)
    session.flush()
    record_change(session, caller, now, "made", OBJECT, row.id, {"name": name})
    return row


def change_pull(
    session: Session, caller: Caller, now: datetime, reference: str, pull: Pull | None
) -> MachineSource:
    """Fetch from elsewhere, at other times or no longer; without an authorization the stored one stays."""
    row = _open_source(session, caller, reference)
    if pull is not None and pull.authorization is None and pull.url == row.pull_url:
        pull = Pull(url=pull.url, minutes=pull.minutes, authorization=row.pull_authorization)
    _set_pull(row, now, pull)
    session.add(row)
    record_change(session, caller, now, "changed", OBJECT, row.id, {"is_pulled": pull is not None})
    return row


def shown_address(row: MachineSource) -> str | None:
    """Where a source is fetched from, without the query, which may hold a secret."""
    return None if row.pull_url is None else urlsplit(row.pull_url)._replace(query="").geturl()


def pull_now(session: Session, caller: Caller, now: datetime, reference: str) -> MachineSource:
    """Let the next free node fetch at once, whatever went wrong before.

    Raises
    ------
    StateTransitionError
        If the source has no address to fetch from.
    """
    row = _open_source(session, caller, reference)
    if row.pull_url is None:
        raise StateTransitionError("This source has no address to fetch from.")
    row.next_pull_at = now
    session.add(row)
    record_change(session, caller, now, "asked", OBJECT, row.id)
    return row


def rotate_secret(
    session: Session, caller: Caller, now: datetime, reference: str, old_valid_until: datetime | None
) -> MachineSource:
    """Check signatures by a new secret; until then those by the old one are taken too."""
    row = _open_source(session, caller, reference)
    replace_secret(row, now, old_valid_until)
    session.add(row)
    record_change(session, caller, now, "rotated", OBJECT, row.id)
    return row


def end_source(session: Session, caller: Caller, now: datetime, reference: str) -> None:
    """Take nothing more from a source; what it sent stays."""
    caller.require(Scope.ADMIN)
    row = machine_sources.get_source(session, caller.organisation_id, reference, for_update=True)
    if row.ended_at is None:
        row.ended_at, row.next_pull_at, row.pull_authorization = now, None, None
        session.add(row)
        record_change(session, caller, now, "ended", OBJECT, row.id)


def link_equipment(
    session: Session,
    caller: Caller,
    now: datetime,
    source: MachineSource,
    reference: str,
    vehicle: str | None,
    offsets: dict[Meter, float | None],
) -> MachineEquipment:
    """Say which vehicle a machine is, or that it is none; offsets that are not given are learned.

    What waited becomes readings of the vehicle at once. Readings that were passed on before stay as they are, except
    those of a vehicle whose dashboard the source was only assumed to be: they come again with the offset that is given.

    Raises
    ------
    StateTransitionError
        If it is to be a vehicle that left the fleet.
    """
    caller.require(Scope.PLANNING)
    row = machine_sources.get_equipment(session, caller.organisation_id, source.id or 0, reference)
    told = None if vehicle is None else fleet.get_vehicle(session, caller.organisation_id, vehicle)
    is_another = told is None or told.id != row.vehicle_id
    if told is not None and is_another and told.retired_at is not None:
        raise StateTransitionError(
            "This vehicle is retired; what a machine sends could not be stored for it."
        )
    row.vehicle_id = None if told is None else told.id
    session.add(row)
    meters = machine_sources.meters_of(session, caller.organisation_id, [row.id or 0])
    for (_, kind), meter in meters.items():
        given = offsets.get(Meter(kind))
        if given is not None and not is_another and _is_only_assumed(meter, given):
            take_back_readings(session, caller, now, source, row, meter)
        _set_offset(meter, given, is_another=is_another)
        session.add(meter)
    session.flush()
    detail = {"equipment": row.reference, "vehicle": None if told is None else told.reference}
    record_change(session, caller, now, "linked", "machine equipment", row.id, detail)
    pass_on_values(session, caller, now, source, [row])
    return row


def require_open(source: MachineSource) -> MachineSource:
    """Give a source back unless it has ended."""
    if source.ended_at is not None:
        raise StateTransitionError("This source has ended.")
    return source


def _is_only_assumed(meter: MachineMeter, offset: float) -> bool:
    """Whether readings were passed on unchecked that an offset now says are wrong."""
    return meter.offset_origin == OffsetOrigin.SOLE and meter.offset != offset


def _set_offset(meter: MachineMeter, given: float | None, *, is_another: bool) -> None:
    """Set an offset by hand; one that was learned of the same vehicle stays until another one is set."""
    if given is not None:
        meter.offset, meter.offset_origin, meter.drift = given, OffsetOrigin.SET, None
    elif is_another or meter.offset_origin == OffsetOrigin.SET:
        meter.offset, meter.offset_origin, meter.drift = None, None, None


def _open_source(session: Session, caller: Caller, reference: str) -> MachineSource:
    caller.require(Scope.ADMIN)
    return require_open(
        machine_sources.get_source(session, caller.organisation_id, reference, for_update=True)
    )


def _set_pull(row: MachineSource, now: datetime, pull: Pull | None) -> None:
    row.pull_url = None if pull is None else pull.url
    row.pull_authorization = None if pull is None else pull.authorization
    row.next_pull_at = None if pull is None else now
    row.pull_minutes = row.pull_minutes if pull is None else pull.minutes
    row.n_failures, row.last_error = 0, None
