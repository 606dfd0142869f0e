"""What machines send: fleet documents, frames, and signed messages."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Header, Request, Response

from service.api.inputs import IdPath
from service.api.limiter import Limiter
from service.api.machine_bodies import (
    MESSAGES,
    parse_document,
    take_fleet,
    take_frame_batch,
    take_message,
)
from service.api.problems import describe_problems
from service.api.schemas.machine_data import FrameBatch, ValueResults
from service.api.token_first import TokenFirst
from service.api.units_of_work import Writing, charge_rows, get_database, get_now
from service.clock import Clock
from service.errors import AuthenticationRequiredError
from service.usecases.machines.receive_message import SignedMessage, claim_message, identify_sender
from service.usecases.machines.take_fleet_document import open_source

router = APIRouter(tags=["machines"], route_class=TokenFirst)

DOCUMENT_EXAMPLE: Final = """<?xml version="1.0" encoding="UTF-8"?>
<Fleet version="1" snapshotTime="2026-05-01T08:00:00Z" xmlns="http://standards.iso.org/iso/15143/-3">
  <Links><rel>self</rel><href>https://portal.example.org/fleet/1</href></Links>
  <Equipment>
    <EquipmentHeader><OEMName>Invented Machines</OEMName><Model>W 20</Model><EquipmentID>machine 12</EquipmentID>
    </EquipmentHeader>
    <CumulativeOperatingHours datetime="2026-05-01T07:30:00Z"><Hour>4711.5</Hour></CumulativeOperatingHours>
    <Distance datetime="2026-05-01T07:30:00Z"><OdometerUnits>kilometre</OdometerUnits><Odometer>72379.12</Odometer>
    </Distance>
  </Equipment>
</Fleet>
"""
JSON_EXAMPLE: Final = {
    "Equipment": [
        {
            "EquipmentHeader": {"EquipmentID": "machine 12"},
            "Distance": {
                "datetime": "2026-05-01T07:30:00Z",
                "OdometerUnits": "kilometre",
                "Odometer": 72379.12,
            },
        }
    ]
}
DOCUMENT_BODY: Final[dict[str, Any]] = {
    "required": True,
    "content": {
        "application/xml": {"schema": {"type": "string"}, "example": DOCUMENT_EXAMPLE},
        "application/json": {"schema": {"type": ["object", "array"], "examples": [JSON_EXAMPLE]}},
    },
}
MESSAGE_BODY: Final[dict[str, Any]] = {
    "required": True,
    "content": {
        "application/json": {
            "schema": {
                "type": "object",
                "properties": {
                    "type": {"enum": list(MESSAGES)},
                    "timestamp": {"type": "string"},
                    "data": {"type": ["object", "array"]},
                },
                "required": ["type", "data"],
            }
        }
    },
}


async def read_body(request: Request) -> bytes:
    """The body as it came; the guard bounds it."""
    return await request.body()


SIGNED_KEY: Final = (
    "Chosen by the sender and signed with the message, so it takes the place of an Idempotency-Key: sent again with "
    "the same id, a message has one effect and is given the same answer."
)
RawBody = Annotated[bytes, Depends(read_body)]


@router.post(
    "/machine-sources/{machine_source}/documents",
    operation_id="take_fleet_document",
    summary="Take a fleet document by ISO 15143-3",
    response_model=ValueResults,
    responses=describe_problems(404, 409, 413, 415, 422),
    openapi_extra={"requestBody": DOCUMENT_BODY},
)
def post_document(request: Request, machine_source: IdPath, content: RawBody, unit: Writing) -> Response:
    """Take a fleet snapshot by ISO 15143-3 (AEMP 2.0), in XML or JSON: odometers and operating hours.

    Hours are a number or a duration of XML Schema (`PT345H30M`, `P14DT9H`), without years and months.
    Machines that are new are noted, and kept until somebody says which vehicles they are. One machine that cannot be
    read loses none of the others; if nothing at all can be stored, the answer is 422. A document holds at most 10,000
    values.
    """
    document = parse_document(content, request.headers.get("content-type", ""))
    charge_rows(request, unit.caller, len(document.values), unit.now)
    source = open_source(unit.session, unit.caller, machine_source)
    return unit.answer(take_fleet(unit.session, unit.caller, unit.now, source, document))


@router.post(
    "/machine-sources/{machine_source}/frames",
    operation_id="take_machine_frames",
    summary="Take raw frames of vehicles",
    response_model=ValueResults,
    responses=describe_problems(404, 409, 413, 422),
)
def post_frames(request: Request, machine_source: IdPath, body: FrameBatch, unit: Writing) -> Response:
    """Decode J1939 frames (odometer in groups 65217 and 65248, engine hours in 65253) and J1979 odometer answers (A6).

    Of two odometer signals of one machine the finer one is used. One bad frame never loses the good ones.
    """
    charge_rows(request, unit.caller, len(body.frames), unit.now)
    source = open_source(unit.session, unit.caller, machine_source)
    return unit.answer(take_frame_batch(unit.session, unit.caller, unit.now, source, body))


@router.post(
    "/inbound/{machine_source}",
    operation_id="receive_machine_message",
    summary="Take a signed message of a machine source",
    response_model=ValueResults,
    responses=describe_problems(409, 413, 422),
    openapi_extra={"requestBody": MESSAGE_BODY},
)
def post_message(
    request: Request,
    machine_source: IdPath,
    content: RawBody,
    message_id: Annotated[str, Header(alias="webhook-id", max_length=120, description=SIGNED_KEY)] = "",
    timestamp: Annotated[str, Header(alias="webhook-timestamp", max_length=20)] = "",
    signatures: Annotated[str, Header(alias="webhook-signature", max_length=2000)] = "",
) -> Response:
    """Take a message by the open Standard Webhooks scheme; no token is needed, the source's secret signs it.

    `type` says what `data` holds: `machine.readings` a list of readings, `machine.frames` frames as in the call for
    them, `machine.fleet` a fleet snapshot by ISO 15143-3 in JSON. A signature is good for five minutes, a message once.
    """
    message = SignedMessage(
        source=machine_source,
        message_id=message_id,
        timestamp=timestamp,
        signatures=signatures,
        body=content,
    )
    limiter: Limiter = request.app.state.limiter
    sender = request.client.host if request.client else "unknown"
    wire_clock: Clock = request.app.state.wire_clock
    now = get_now(request)
    with get_database(request).transaction() as session:
        try:
            caller = identify_sender(session, message, now, wire_clock.now())
        except AuthenticationRequiredError:
            limiter.slow_down(sender, now)
            raise
        limiter.check_call(caller.organisation_id, now)
        kept, is_repeated = claim_message(session, caller, message, now)
        if is_repeated:
            return Response(kept.body, kept.status, {**kept.headers, "Idempotency-Replayed": "true"})
        source = open_source(session, caller, machine_source)
        shown = take_message(session, caller, now, source, content)
        charge_rows(request, caller, len(shown.results), now)
        body = shown.model_dump_json().encode()
        kept.status, kept.headers, kept.body = 200, {"Content-Type": "application/json"}, body
        session.add(kept)
        return Response(body, media_type="application/json")
