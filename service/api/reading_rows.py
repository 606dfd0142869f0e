"""Readings in a JSON body: ten thousand rows are checked at once, and one by one only if something is wrong."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Final, Literal, NotRequired

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict

from service.api.inputs import parse_instant
from service.domain import plausibility, texts
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.errors import FieldError, InvalidInputError
from service.usecases.readings.record_readings import MAX_ROWS, ReadingRow, RowResult

READING_EXAMPLE: Final[dict[str, Any]] = {
    "vehicle": "VAN-07",
    "taken_at": "2026-05-01T07:30:00+01:00",
    "odometer": 84210.4,
    "unit": "km",
    "engine_hours": None,
    "source": "driver",
    "reference": "trip 4711",
}


class ReadingEntry(TypedDict):
    """One reading; the unit is the vehicle's own if it is not given."""

    __pydantic_config__ = ConfigDict(extra="forbid", title="ReadingEntry")  # type: ignore[misc]

    vehicle: Annotated[str, Field(strict=True, min_length=1, max_length=160)]
    taken_at: Annotated[
        str, Field(strict=True, min_length=1, max_length=40, description="RFC 3339 with offset.")
    ]
    odometer: NotRequired[
        Annotated[float, Field(strict=True, ge=0, le=plausibility.ODOMETER_KM.maximum, allow_inf_nan=False)]
        | None
    ]
    unit: NotRequired[Literal["km", "mi"] | None]
    engine_hours: NotRequired[
        Annotated[float, Field(strict=True, ge=0, le=plausibility.ENGINE_HOURS.maximum, allow_inf_nan=False)]
        | None
    ]
    source: NotRequired[Annotated[str, Field(strict=True, min_length=1, max_length=40)]]
    reference: NotRequired[Annotated[str, Field(strict=True, min_length=1, max_length=80)] | None]


class ReadingBatch(TypedDict):
    """Readings to record."""

    __pydantic_config__ = ConfigDict(extra="forbid", title="ReadingBatch")  # type: ignore[misc]

    readings: Annotated[list[ReadingEntry], Field(min_length=1, max_length=MAX_ROWS)]


_BATCH: Final = TypeAdapter(ReadingBatch)
_ENTRY: Final = TypeAdapter(ReadingEntry)

_REASON_BY_FIELD: Final = {
    ("taken_at", "value_error"): ReadingReason.MALFORMED,
    ("odometer", "greater_than_equal"): ReadingReason.OUT_OF_RANGE,
    ("odometer", "less_than_equal"): ReadingReason.OUT_OF_RANGE,
    ("engine_hours", "greater_than_equal"): ReadingReason.OUT_OF_RANGE,
    ("engine_hours", "less_than_equal"): ReadingReason.OUT_OF_RANGE,
    ("odometer", "finite_number"): ReadingReason.NOT_A_NUMBER,
    ("odometer", "float_type"): ReadingReason.NOT_A_NUMBER,
    ("engine_hours", "finite_number"): ReadingReason.NOT_A_NUMBER,
    ("engine_hours", "float_type"): ReadingReason.NOT_A_NUMBER,
}


def batch_schema() -> dict[str, Any]:
    """JSON schema of the body, for the OpenAPI document."""
    schema = _BATCH.json_schema(ref_template="#/components/schemas/{model}")
    entry = schema.pop("$defs", {}).get("ReadingEntry", {})
    schema["properties"]["readings"]["items"] = entry
    return schema | {"examples": [{"readings": [READING_EXAMPLE]}]}


def parse_batch(body: bytes) -> list[ReadingRow | RowResult]:
    """Read a JSON body.

    Raises
    ------
    InvalidInputError
        If the body as a whole has not the form of a batch; a single bad row gets an outcome instead.
    """
    try:
        entries: list[Any] = list(_BATCH.validate_json(body)["readings"])
    except ValidationError:
        return [_checked(entry) for entry in _loose_entries(body)]
    return [_row(entry) for entry in entries]


def _loose_entries(body: bytes) -> list[Any]:
    try:
        content = json.loads(body)
    except (ValueError, RecursionError):
        raise InvalidInputError("The body is not valid JSON in UTF-8.") from None
    if (
        not isinstance(content, dict)
        or set(content) != {"readings"}
        or not isinstance(content["readings"], list)
    ):
        raise InvalidInputError.at("/readings", "The body must be an object with one list: readings.")
    entries: list[Any] = content["readings"]
    if not 1 <= len(entries) <= MAX_ROWS:
        raise InvalidInputError.at("/readings", f"Send 1 to {MAX_ROWS} readings a call.")
    return entries


def _checked(entry: Any) -> ReadingRow | RowResult:
    try:
        return _row(_ENTRY.validate_python(entry))
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False)[0]
        name = str(first["loc"][0])[:40] if first["loc"] else "row"
        reason = _REASON_BY_FIELD.get((name, first["type"]), ReadingReason.MALFORMED)
        return RowResult(ReadingOutcome.REJECTED, reason, f"{name}: {first['msg']}"[:200])


def _row(entry: Mapping[str, Any]) -> ReadingRow | RowResult:
    try:
        return ReadingRow(
            vehicle=_text("vehicle", entry["vehicle"]),
            taken_at=_instant(entry["taken_at"]),
            odometer=entry.get("odometer"),
            unit=entry.get("unit"),
            engine_hours=entry.get("engine_hours"),
            source=_text("source", entry.get("source") or "api"),
            reference=None if entry.get("reference") is None else _text("reference", entry["reference"]),
        )
    except InvalidInputError as error:
        (field,) = error.errors or (FieldError("row", ""),)
        reason = ReadingReason.MISSING_OFFSET if "offset" in error.detail else ReadingReason.MALFORMED
        return RowResult(ReadingOutcome.REJECTED, reason, f"{field.pointer}: {error.detail}")


def _text(name: str, value: str) -> str:
    """Clean a text; the usual one, printable ASCII without outer spaces, needs no work."""
    if value.isascii() and value.isprintable() and value == value.strip():
        return value
    return texts.clean_line(name, value, maximum=80)


def _instant(text: str) -> datetime:
    try:
        return parse_instant(text)
    except ValueError as error:
        raise InvalidInputError.at("taken_at", str(error)) from None
