"""Readings in a JSON body: checked and turned into columns at once, and only rows with a fault one by one."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Final, Literal, NotRequired

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict

from service.api.inputs import parse_instant
from service.domain import plausibility, texts
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.errors import InvalidInputError
from service.usecases.readings.instant_columns import read_instants
from service.usecases.readings.known_readings import KEPT_SOURCES
from service.usecases.readings.reading_columns import ReadingColumns, clean_column
from service.usecases.readings.record_readings import MAX_ROWS
from service.usecases.readings.row_outcomes import RowResult

LONGEST_NAME: Final = 160
"""Characters that the form allows."""

LONGEST_TEXT: Final = 80
"""Characters of a text that had to be cleaned."""

READING_EXAMPLE: Final[dict[str, Any]] = {
    "vehicle": "VAN-07",
    "taken_at": "2026-05-01T07:30:00+01:00",
    "odometer": 84210.4,
    "unit": "km",
    "engine_hours": None,
    "source": "driver",
    "reference": "trip 4711",
}


SOURCE: Final = (
    f"Who or what told it; {', '.join(sorted(KEPT_SOURCES))} stand for readings stored with a record alone."
)


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
    source: NotRequired[Annotated[str, Field(strict=True, min_length=1, max_length=40, description=SOURCE)]]
    reference: NotRequired[Annotated[str, Field(strict=True, min_length=1, max_length=80)] | None]


class ReadingBatch(TypedDict):
    """Readings to record."""

    __pydantic_config__ = ConfigDict(extra="forbid", title="ReadingBatch")  # type: ignore[misc]

    readings: Annotated[list[ReadingEntry], Field(min_length=1, max_length=MAX_ROWS)]


_BATCH: Final = TypeAdapter(ReadingBatch)
_ENTRY: Final = TypeAdapter(ReadingEntry)

_NOTHING: Final[Mapping[str, Any]] = {"vehicle": "", "taken_at": ""}
"""Stands at the place of a row that is refused."""

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


def parse_batch(body: bytes) -> ReadingColumns:
    """Read a JSON body.

    Raises
    ------
    InvalidInputError
        If the body as a whole has not the form of a batch; a single bad row gets an outcome instead.
    """
    refused: dict[int, RowResult] = {}
    try:
        entries: list[Any] = list(_BATCH.validate_json(body)["readings"])
    except ValidationError as error:
        entries = _loose_entries(body)
        for place in _suspects(error, len(entries)):
            entries[place] = _checked(entries[place], place, refused)
    return _columns(entries, refused)


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


def _suspects(error: ValidationError, n_entries: int) -> Sequence[int]:
    """Rows that something was found in; all of them where it is not in a row."""
    found = [
        one["loc"] for one in error.errors(include_input=False, include_context=False, include_url=False)
    ]
    if all(len(place) > 1 for place in found):
        return sorted({int(place[1]) for place in found})
    return range(n_entries)


def _checked(entry: Any, place: int, refused: dict[int, RowResult]) -> Mapping[str, Any]:
    """Give a row that is one; instead of another, one that says nothing, with the reason why it is refused."""
    try:
        return _ENTRY.validate_python(entry)
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False)[0]
        name = str(first["loc"][0])[:40] if first["loc"] else "row"
        reason = _REASON_BY_FIELD.get((name, first["type"]), ReadingReason.MALFORMED)
        detail = f"{name}: {first['msg']}"[:200]
        refused[place] = RowResult(ReadingOutcome.REJECTED, reason, detail)
        return _NOTHING


def _columns(entries: Sequence[Mapping[str, Any]], refused: dict[int, RowResult]) -> ReadingColumns:
    """Turn rows of the right form into columns; of several faults of a row the first one is told."""

    def clean(name: str, value: str, place: int) -> str | None:
        try:
            return texts.clean_line(name, value, maximum=LONGEST_TEXT)
        except InvalidInputError as error:
            refused.setdefault(place, _refusal(name, error.detail))
            return None

    def instant(place: int, text: str) -> datetime | None:
        try:
            return parse_instant(text)
        except ValueError as error:
            refused.setdefault(place, _refusal("taken_at", str(error)))
            return None

    def column(name: str) -> list[Any]:
        return [entry.get(name) for entry in entries]

    def numbers(name: str) -> NDArray[np.float64]:
        found = np.array(column(name), dtype=np.float64)
        for place in np.flatnonzero((found == 0.0) & np.signbit(found)).tolist():
            result = RowResult(ReadingOutcome.REJECTED, ReadingReason.OUT_OF_RANGE, f"{name}: is minus zero")
            refused.setdefault(place, result)
        return found

    vehicle = clean_column("vehicle", column("vehicle"), LONGEST_NAME, clean)
    taken_at = read_instants(column("taken_at"), instant)
    source = clean_column("source", [entry.get("source", "api") for entry in entries], LONGEST_NAME, clean)
    return ReadingColumns(
        vehicle=[name or "" for name in vehicle],
        taken_at=taken_at,
        odometer=numbers("odometer"),
        unit=column("unit"),
        engine_hours=numbers("engine_hours"),
        source=[name or "" for name in source],
        reference=clean_column("reference", column("reference"), LONGEST_NAME, clean),
        refused=refused,
    )


def _refusal(name: str, detail: str) -> RowResult:
    reason = (
        ReadingReason.MISSING_OFFSET if detail.startswith("needs its offset") else ReadingReason.MALFORMED
    )
    return RowResult(ReadingOutcome.REJECTED, reason, f"{name}: {detail}")
