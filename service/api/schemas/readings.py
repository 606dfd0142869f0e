"""Request and answer models of readings."""

from datetime import datetime, timedelta, timezone
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body
from service.api.reading_rows import READING_EXAMPLE
from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome, ReadingReason
from service.store.tables.readings import Reading

RESULT_EXAMPLE: dict[str, Any] = {"index": 0, "outcome": "accepted", "reason": None}


class ReadingResult(BaseModel):
    """What became of one row."""

    index: int
    outcome: ReadingOutcome
    reason: ReadingReason | None = None
    detail: str | None = Field(default=None, description="What the reason means and what to do.")


class ReadingResults(BaseModel):
    """What became of every row, in the order they were sent."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"accepted": 1, "held": 0, "duplicate": 0, "rejected": 0, "results": [RESULT_EXAMPLE]}
            ]
        }
    )

    accepted: int
    held: int
    duplicate: int
    rejected: int
    results: list[ReadingResult]


class ReadingRead(BaseModel):
    """A stored reading: what was keyed, and what was made of it."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"id": "rdg_9041", **READING_EXAMPLE, "outcome": "accepted"}]}
    )

    id: str
    vehicle: str
    taken_at: datetime
    odometer: float | None
    unit: str
    odometer_km: float | None
    used_km: float | None = Field(description="On the vehicle's continuous series; null while not used.")
    engine_hours: float | None
    used_hours: float | None = Field(
        description="The same on the vehicle's continuous series; null where the hours are not plausible."
    )
    source: str
    reference: str | None
    outcome: ReadingOutcome
    reason: ReadingReason | None
    detail: str | None
    decided_by: str | None
    received_at: datetime

    @classmethod
    def of(cls, reading: Reading, vehicle: str) -> Self:
        """Show a row, its time with the offset it came with."""
        zone = timezone(timedelta(minutes=reading.utc_offset_minutes))
        reason = None if reading.reason is None else ReadingReason(reading.reason)
        return cls(
            id=format_id(IdKind.READING, reading.id),
            vehicle=vehicle,
            taken_at=reading.taken_at.astimezone(zone),
            odometer=reading.odometer,
            unit=reading.unit,
            odometer_km=reading.odometer_km,
            used_km=reading.used_km,
            engine_hours=reading.engine_hours,
            used_hours=reading.used_hours,
            source=reading.source,
            reference=reading.reference,
            outcome=ReadingOutcome(reading.outcome),
            reason=reason,
            detail=None if reason is None else REASON_TEXTS[reason].sentence,
            decided_by=reading.decided_by,
            received_at=reading.received_at,
        )


class ReadingPage(BaseModel):
    """Some readings in the order they were stored; the Link header leads to the next ones."""

    readings: list[ReadingRead]


class ReadingDecision(Body):
    """What a person decided about a reading."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"decision": "release"}]})

    decision: Literal["release", "discard"]
