"""Frames, documents and messages of machines, and what became of them."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any, Final, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Instant, Line80, Odometer, ParameterGroup
from service.api.inputs import EngineHours as Hours
from service.domain.frame_values import FrameValue, Protocol, read_frame
from service.domain.machine_meters import MachineValue, Meter
from service.domain.outcomes import ReadingOutcome, ReadingReason
from service.usecases.machines.take_fleet_document import MOST_VALUES, TakenDocument
from service.usecases.machines.take_machine_values import ValueResult

MAX_FRAMES: Final = MOST_VALUES
FRAME_EXAMPLE: Final[dict[str, Any]] = {
    "equipment": "gateway 12",
    "taken_at": "2026-05-01T07:30:00Z",
    "protocol": "j1939",
    "pgn": 65217,
    "data": "9D C2 78 01 FF FF FF FF",
}


class FrameEntry(Body):
    """One frame of a machine."""

    equipment: Line80 = Field(description="The source's own name of the machine.")
    taken_at: Instant
    protocol: Protocol
    pgn: ParameterGroup | None = Field(default=None, description="Parameter group number of a J1939 frame.")
    data: Annotated[str, Field(strict=True, min_length=1, max_length=60)] = Field(
        description="Bytes as pairs of hexadecimal digits: the eight of a J1939 frame, or the answer to service 01 of "
        "J1979 from its first byte, 41."
    )

    def read(self) -> FrameValue:
        """What the frame says."""
        return read_frame(self.equipment, self.taken_at, self.protocol, self.pgn, self.data)


class FrameBatch(Body):
    """Frames to take."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"frames": [FRAME_EXAMPLE]}]})

    frames: list[FrameEntry] = Field(min_length=1, max_length=MAX_FRAMES, fail_fast=True)


class ValueEntry(Body):
    """Meters of one machine at one instant."""

    equipment: Line80
    taken_at: Instant
    odometer_km: Odometer | None = None
    engine_hours: Hours | None = None

    def values(self) -> list[MachineValue]:
        """A value for each meter that is given."""
        told = {Meter.ODOMETER: self.odometer_km, Meter.ENGINE_HOURS: self.engine_hours}
        return [
            MachineValue(equipment=self.equipment, meter=meter, taken_at=self.taken_at, value=value)
            for meter, value in told.items()
            if value is not None
        ]


class ValueBatch(Body):
    """Values to take."""

    readings: list[ValueEntry] = Field(min_length=1, max_length=MAX_FRAMES, fail_fast=True)


class ValueResultRead(BaseModel):
    """What became of one value or frame."""

    index: int
    equipment: str | None = None
    meter: Meter | None = None
    taken_at: datetime | None = None
    outcome: ReadingOutcome
    reason: ReadingReason | None
    detail: str | None

    @classmethod
    def of(cls, index: int, result: ValueResult, value: MachineValue | None) -> Self:
        """Show a result."""
        return cls(
            index=index,
            equipment=None if value is None else value.equipment,
            meter=None if value is None else value.meter,
            taken_at=None if value is None else value.taken_at,
            outcome=result.outcome,
            reason=result.reason,
            detail=result.sentence,
        )


class MachineProblem(BaseModel):
    """Something that could not be read, and of which machine."""

    equipment: str
    detail: str


class ValueResults(BaseModel):
    """What became of everything, in the order in which it stood."""

    machines: int = Field(description="Machines that were spoken of.")
    accepted: int
    held: int
    duplicate: int
    rejected: int
    results: list[ValueResultRead]
    problems: list[MachineProblem] = Field(description="Parts of a document that could not be read.")

    @classmethod
    def of(
        cls,
        n_machines: int,
        results: Sequence[ValueResult],
        values: Sequence[MachineValue | None],
        problems: Sequence[tuple[str, str]] = (),
    ) -> Self:
        """Show results and how many there are of each kind."""
        shown = [
            ValueResultRead.of(place, result, value)
            for place, (result, value) in enumerate(zip(results, values, strict=True))
        ]
        return cls(
            machines=n_machines,
            results=shown,
            problems=[MachineProblem(equipment=name, detail=detail) for name, detail in problems],
            **{
                str(outcome): sum(result.outcome is outcome for result in results)
                for outcome in ReadingOutcome
            },
        )

    @classmethod
    def of_document(cls, taken: TakenDocument) -> Self:
        """Show what became of a document."""
        return cls.of(taken.n_machines, taken.results, taken.values, taken.problems)
