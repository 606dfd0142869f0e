"""Bodies that machines send: fleet documents in XML or JSON, frames, and signed messages that hold either."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError
from sqlmodel import Session

from service.api.json_bodies import read_object
from service.api.problems import told_of_field
from service.api.schemas.machine_data import FrameBatch, ValueBatch, ValueResults
from service.domain.fleet_documents import FleetDocument, read_fleet_document, read_fleet_object
from service.domain.outcomes import ReadingOutcome
from service.errors import FieldError, InvalidInputError
from service.store.tables.machine_sources import MachineSource
from service.usecases.access.caller import Caller
from service.usecases.machines.take_fleet_document import take_document, take_frames
from service.usecases.machines.take_machine_values import take_values

XML_TYPES: Final = frozenset({"application/xml", "text/xml"})
JSON_TYPE: Final = "application/json"
MOST_ERRORS: Final = 100

Model = TypeVar("Model", bound=BaseModel)
Take = Callable[[Session, Caller, datetime, MachineSource, Any], ValueResults]


def parse_document(content: bytes, content_type: str) -> FleetDocument:
    """Read a document by the type that it was sent with.

    Raises
    ------
    InvalidInputError
        If it is neither XML nor JSON, or no fleet document.
    """
    kind = content_type.partition(";")[0].strip().lower()
    if kind not in {*XML_TYPES, JSON_TYPE}:
        raise InvalidInputError("Send application/xml or application/json.")
    return read_fleet_document(content, is_xml=kind in XML_TYPES)


def take_fleet(
    session: Session, caller: Caller, now: datetime, source: MachineSource, document: FleetDocument
) -> ValueResults:
    """Take a document and tell what became of it; 422 if nothing of it could be stored."""
    shown = ValueResults.of_document(take_document(session, caller, now, source, document))
    return _refuse_if_nothing_fits(shown)


def take_frame_batch(
    session: Session, caller: Caller, now: datetime, source: MachineSource, batch: FrameBatch
) -> ValueResults:
    """Take frames and tell what became of each."""
    frames = [frame.read() for frame in batch.frames]
    results = take_frames(session, caller, now, source, frames)
    machines = {frame.equipment for frame in batch.frames}
    return _refuse_if_nothing_fits(ValueResults.of(len(machines), results, [frame.value for frame in frames]))


def take_message(
    session: Session, caller: Caller, now: datetime, source: MachineSource, body: bytes
) -> ValueResults:
    """Take a message of the form `{"type": …, "data": …}`.

    Raises
    ------
    InvalidInputError
        If it has another form or type.
    """
    message = read_object(body)
    take = MESSAGES.get(str(message.get("type")))
    if take is None:
        raise InvalidInputError.at("/type", f"Must be one of {', '.join(MESSAGES)}.")
    return take(session, caller, now, source, message.get("data"))


def _take_values(
    session: Session, caller: Caller, now: datetime, source: MachineSource, data: Any
) -> ValueResults:
    batch = _validated(ValueBatch, data)
    values = [value for entry in batch.readings for value in entry.values()]
    machines = {entry.equipment for entry in batch.readings}
    results = take_values(session, caller, now, source, values)
    return _refuse_if_nothing_fits(ValueResults.of(len(machines), results, values))


def _take_frames(
    session: Session, caller: Caller, now: datetime, source: MachineSource, data: Any
) -> ValueResults:
    return take_frame_batch(session, caller, now, source, _validated(FrameBatch, data))


def _take_fleet(
    session: Session, caller: Caller, now: datetime, source: MachineSource, data: Any
) -> ValueResults:
    return take_fleet(session, caller, now, source, read_fleet_object(data))


MESSAGES: Final[Mapping[str, Take]] = {
    "machine.readings": _take_values,
    "machine.frames": _take_frames,
    "machine.fleet": _take_fleet,
}


def _validated(model: type[Model], data: Any) -> Model:
    try:
        return model.model_validate(data)
    except ValidationError as error:
        fields = [
            FieldError(
                "/data/" + "/".join(str(part)[:80] for part in one["loc"]),
                told_of_field(one["type"], one["msg"]),
            )
            for one in error.errors(include_input=False, include_url=False)[:MOST_ERRORS]
        ]
        raise InvalidInputError("The message cannot be right; see errors.", fields) from None


def _refuse_if_nothing_fits(shown: ValueResults) -> ValueResults:
    """Answer 422 when there was something and none of it could be stored: then the sender has to change something."""
    is_nothing = shown.rejected == len(shown.results)
    if not is_nothing or not (shown.results or shown.problems):
        return shown
    raise InvalidInputError("Nothing could be stored; see errors.", _fields(shown))


def _fields(shown: ValueResults) -> Sequence[FieldError]:
    rejected = [
        FieldError(f"/{one.index}", one.detail or str(one.reason))
        for one in shown.results
        if one.outcome is ReadingOutcome.REJECTED
    ]
    unread = [FieldError("/equipment", one.detail) for one in shown.problems]
    return [*rejected, *unread][:MOST_ERRORS]
