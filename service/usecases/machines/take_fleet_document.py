"""Take documents, frames and values that machine sources send, by whichever door they come."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from sqlmodel import Session

from service.domain.fleet_documents import FleetDocument
from service.domain.frame_values import FrameValue
from service.domain.machine_meters import MachineValue
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.domain.roles import Scope
from service.errors import InvalidInputError, PermissionDeniedError
from service.store.repositories import machine_sources
from service.store.tables.machine_sources import MachineSource
from service.usecases.access.caller import Caller
from service.usecases.machines.manage_sources import require_open
from service.usecases.machines.take_machine_values import ValueResult, take_values

MOST_VALUES: Final = 10_000
"""Of one document, as of one call with frames or readings: every other writer waits meanwhile."""


@dataclass(slots=True, kw_only=True)
class TakenDocument:
    """What became of a document: of each value, and what could not be read."""

    n_machines: int
    values: Sequence[MachineValue]
    results: list[ValueResult]
    problems: list[tuple[str, str]] = field(default_factory=list)
    """The machine and what is wrong with it."""


def open_source(session: Session, caller: Caller, reference: str) -> MachineSource:
    """Lock a source for somebody who may send for it.

    Raises
    ------
    PermissionDeniedError
        To a token that is bound to one vehicle: a source speaks of many.
    StateTransitionError
        If the source has ended.
    """
    caller.require(Scope.READINGS)
    if caller.vehicle_id is not None:
        raise PermissionDeniedError("This token is for one vehicle only, and a source speaks of many.")
    return require_open(
        machine_sources.get_source(session, caller.organisation_id, reference, for_update=True)
    )


def take_document(
    session: Session, caller: Caller, now: datetime, source: MachineSource, document: FleetDocument
) -> TakenDocument:
    """Take one page of a fleet snapshot; one machine that cannot be read loses none of the others.

    Raises
    ------
    InvalidInputError
        If it tells of too much for one transaction.
    """
    if len(document.values) > MOST_VALUES:
        raise InvalidInputError(
            f"The document tells of {len(document.values)} values; at most {MOST_VALUES} fit, send it in pages."
        )
    return TakenDocument(
        n_machines=document.n_machines,
        values=document.values,
        results=take_values(session, caller, now, source, document.values),
        problems=[(problem.equipment, problem.detail) for problem in document.problems],
    )


def take_frames(
    session: Session, caller: Caller, now: datetime, source: MachineSource, frames: Sequence[FrameValue]
) -> list[ValueResult]:
    """Take what frames said, one result a frame; one without a meter in it is rejected with the reason."""
    told = [(place, frame.value) for place, frame in enumerate(frames) if frame.value is not None]
    taken = take_values(session, caller, now, source, [value for _, value in told])
    by_place = {place: result for (place, _), result in zip(told, taken, strict=True)}
    return [
        by_place.get(place) or ValueResult(ReadingOutcome.REJECTED, ReadingReason.NO_METER, frame.detail)
        for place, frame in enumerate(frames)
    ]
