"""Request and answer models of services."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, timezone
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import (
    Body,
    EngineHours,
    ExchangedLitres,
    FluidCelsius,
    Instant,
    Line40,
    Line80,
    Line400,
    Note,
    Odometer,
    VehicleName,
    Yes,
)
from service.domain import plausibility
from service.domain.exchange_methods import ExchangeMethod
from service.domain.external_ids import IdKind, format_id
from service.domain.outcomes import REASON_TEXTS, ReadingOutcome
from service.domain.units_of_distance import DistanceUnit
from service.domain.visual_grades import VisualGrade
from service.store.repositories.services import DoneItem
from service.store.tables.services import Service
from service.usecases.readings.row_outcomes import RowResult
from service.usecases.services.fill_advice import short_fill_advice
from service.usecases.services.service_entries import NewRound, NewService, NewWork

WORK_EXAMPLE: dict[str, Any] = {
    "compartment": "gearbox",
    "method": "drain_and_fill",
    "rounds": [
        {"drained_litres": 4.0, "filled_litres": 4.0},
        {"drained_litres": 4.0, "filled_litres": 4.3},
    ],
    "fluid": "ATF-A",
    "level_celsius": 40,
    "excess_drained_litres": 0.3,
    "counter_reset": True,
    "seals_renewed": True,
    "old_fluid_grade": "brown",
}
SERVICE_EXAMPLE: dict[str, Any] = {
    "vehicle": "VAN-07",
    "done_at": "2026-05-01T14:10:00+01:00",
    "odometer": 84210.4,
    "unit": "km",
    "done_by": "J. Doe",
    "reference": "job 1180",
    "compartments": [WORK_EXAMPLE],
}
Grade = Annotated[
    str,
    Field(
        strict=True,
        min_length=1,
        max_length=16,
        description="A word such as brown, or its mark on the job sheet: 0 to 4, W.",
    ),
]


class RoundEntry(Body):
    """One drain and one fill."""

    drained_litres: ExchangedLitres
    filled_litres: ExchangedLitres


class WorkEntry(Body):
    """What was done to one compartment."""

    compartment: Line40 = Field(description="Its name on the vehicle, or its id.")
    method: ExchangeMethod = ExchangeMethod.DRAIN_AND_FILL
    rounds: list[RoundEntry] = Field(default_factory=list, max_length=int(plausibility.ROUNDS.maximum))
    passed_litres: ExchangedLitres | None = Field(
        default=None, description="Fresh fluid passed through in a line exchange or a flush."
    )
    fluid: Line40 | None = Field(
        default=None, description="Article name of what was filled; the usual fluid if not given."
    )
    level_celsius: FluidCelsius | None = Field(
        default=None, description="Fluid temperature at which the level was set."
    )
    excess_drained_litres: ExchangedLitres | None = Field(
        default=None, description="Measured litres that ran off when the level was set."
    )
    counter_reset: Yes | None = None
    seals_renewed: Yes | None = None
    old_fluid_grade: Grade | None = None
    override_reason: Line400 | None = Field(
        default=None,
        description="Why another specification was filled or the counter not reset; the job sheet shows it.",
    )

    def entry(self) -> NewWork:
        """Hand over to the use case."""
        fields = self.model_dump(exclude={"rounds"})
        rounds = tuple(NewRound(**one.model_dump()) for one in self.rounds)
        return NewWork(rounds=rounds, **fields)


class ServiceCreate(Body):
    """A service to record."""

    model_config = ConfigDict(json_schema_extra={"examples": [SERVICE_EXAMPLE]})

    vehicle: VehicleName
    done_at: Instant
    odometer: Odometer | None = None
    unit: DistanceUnit | None = Field(default=None, description="The vehicle's own if not given.")
    engine_hours: EngineHours | None = None
    done_by: Line80 | None = None
    note: Note | None = None
    reference: Line80 | None = Field(
        default=None, description="The sender's own id; recorded once an organisation."
    )
    late_entry: Yes = Field(default=False, description="Older than a service that is on record already.")
    compartments: list[WorkEntry] = Field(min_length=1, max_length=30)

    def entry(self) -> NewService:
        """Hand over to the use case."""
        fields = self.model_dump(exclude={"compartments"})
        return NewService(compartments=tuple(work.entry() for work in self.compartments), **fields)


class RoundRead(BaseModel):
    """One drain and one fill."""

    drained_litres: float
    filled_litres: float


class WorkRead(BaseModel):
    """What was done to one compartment."""

    id: str
    compartment: str
    method: ExchangeMethod
    rounds: list[RoundRead]
    passed_litres: float | None
    fluid: str | None
    level_celsius: float | None
    excess_drained_litres: float | None
    counter_reset: bool | None
    seals_renewed: bool | None
    old_fluid_grade: VisualGrade | None
    override_reason: str | None

    @classmethod
    def of(cls, done: DoneItem, compartment: str, fluid: str | None) -> Self:
        """Show an item with its rounds."""
        item = done.item
        return cls(
            id=format_id(IdKind.COMPARTMENT, item.compartment_id),
            compartment=compartment,
            method=ExchangeMethod(item.method),
            rounds=[
                RoundRead(drained_litres=row.drained_litres, filled_litres=row.filled_litres)
                for row in done.rounds
            ],
            passed_litres=item.passed_litres,
            fluid=fluid,
            level_celsius=item.level_celsius,
            excess_drained_litres=item.excess_drained_litres,
            counter_reset=item.counter_reset,
            seals_renewed=item.seals_renewed,
            old_fluid_grade=None if item.old_fluid_grade is None else VisualGrade(item.old_fluid_grade),
            override_reason=item.override_reason,
        )


class ServiceRead(BaseModel):
    """A recorded service."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": "srv_71",
                    **{
                        name: SERVICE_EXAMPLE[name] for name in ("vehicle", "done_at", "done_by", "reference")
                    },
                    "odometer_km": 84210.4,
                    "compartments": [{"id": "cmp_31", **WORK_EXAMPLE}],
                    "reading_outcome": "accepted",
                }
            ]
        }
    )

    id: str
    vehicle: str
    done_at: datetime
    odometer_km: float | None
    engine_hours: float | None
    done_by: str | None
    note: str | None
    reference: str | None
    recorded_at: datetime
    recorded_by: str
    voided_at: datetime | None
    compartments: list[WorkRead]
    reading_outcome: ReadingOutcome | None = Field(
        default=None, description="What became of the meters as a reading; only in the answer to a recording."
    )
    warnings: list[str] = Field(default_factory=list)

    @classmethod
    def of(
        cls,
        service: Service,
        done: Sequence[DoneItem],
        names: "ServiceNames",
        reading: RowResult | None = None,
    ) -> Self:
        """Show a row with its items, its time with the offset it came with."""
        zone = timezone(timedelta(minutes=service.utc_offset_minutes))
        works = [
            WorkRead.of(one, names.compartments[one.item.compartment_id], names.fluids.get(one.item.fluid_id))
            for one in done
            if one.service.id == service.id
        ]
        return cls(
            id=format_id(IdKind.SERVICE, service.id),
            vehicle=names.vehicles[service.vehicle_id],
            done_at=service.done_at.astimezone(zone),
            compartments=works,
            reading_outcome=None if reading is None else reading.outcome,
            warnings=_warnings(reading, works),
            **service.model_dump(
                include={
                    "odometer_km",
                    "engine_hours",
                    "done_by",
                    "note",
                    "reference",
                    "recorded_at",
                    "recorded_by",
                    "voided_at",
                }
            ),
        )


class ServiceNames(BaseModel):
    """What the ids in services stand for."""

    vehicles: Mapping[int, str]
    compartments: Mapping[int, str]
    fluids: Mapping[int | None, str]


class ServicePage(BaseModel):
    """Some services in the order they were recorded; the Link header leads to the next ones."""

    services: list[ServiceRead]


def _warnings(reading: RowResult | None, works: Sequence[WorkRead]) -> list[str]:
    found = [
        f"{work.compartment}: no fluid is named, so no stock was drawn and no specification checked."
        for work in works
        if work.fluid is None
    ]
    found += [
        f"{work.compartment}: {advice}"
        for work in works
        if (advice := short_fill_advice(work.rounds)) is not None
    ]
    if reading is not None and reading.reason is not None and reading.outcome is ReadingOutcome.HELD:
        found.append(f"The meter reading is held. {REASON_TEXTS[reading.reason].sentence}")
    return found
