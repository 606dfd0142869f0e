"""Answer models of a compartment's history."""

from datetime import date, datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.schemas.samples import GradeRead
from service.domain.external_ids import IdKind, format_id
from service.domain.fluid_kinds import FluidKind
from service.usecases.fluids.explain_history import ToldHistory, ToldStep
from service.usecases.fluids.follow_fluid import FluidPoint

STATE_EXAMPLE: dict[str, Any] = {
    "odometer_km": 84210.4,
    "engine_hours": None,
    "volume_litres": 8.0,
    "life_used": 0.31,
    "life_used_sd": 0.12,
    "fresh_share": 0.5,
    "is_contaminated": False,
    "schedule_since": "2024-05-02",
}


class StateRead(BaseModel):
    """The fluid at one moment, and from where its schedule counts."""

    odometer_km: float | None
    engine_hours: float | None
    volume_litres: float
    life_used: float
    life_used_sd: float
    water_fraction: float
    iron_mg_per_kg: float
    glycol_fraction: float
    fresh_share: float = Field(description="Share of the charge that the last service put in.")
    is_contaminated: bool
    is_sampled: bool
    schedule_since: date | None
    schedule_since_odometer_km: float | None
    schedule_since_engine_hours: float | None

    @classmethod
    def of(cls, point: FluidPoint) -> Self:
        """Show a point."""
        fluid = point.fluid
        return cls(
            odometer_km=_rounded(point.odometer_km, 1),
            engine_hours=_rounded(point.engine_hours, 1),
            volume_litres=round(float(fluid.volume_15c_litres[0]), 4),
            life_used=round(float(fluid.life_used[0]), 6),
            life_used_sd=round(float(fluid.life_used_variance[0]) ** 0.5, 6),
            water_fraction=round(float(fluid.water_mass_fraction[0]), 6),
            iron_mg_per_kg=round(float(fluid.iron_mg_per_kg[0]), 3),
            glycol_fraction=round(float(fluid.glycol_fraction[0]), 6),
            fresh_share=round(point.fresh_fraction, 6),
            is_contaminated=point.is_contaminated,
            is_sampled=point.is_sampled,
            schedule_since=point.start.on,
            schedule_since_odometer_km=_rounded(point.start.odometer_km, 1),
            schedule_since_engine_hours=_rounded(point.start.engine_hours, 1),
        )


class StepRead(BaseModel):
    """One event: the state just before it, aged to its moment, and just after."""

    event: str = Field(description="start, service, sample or now.")
    id: str | None = Field(description="Of the service or the sample.")
    at: datetime
    by: str | None
    why: str
    figures: dict[str, float]
    before: StateRead
    after: StateRead
    grades: list[GradeRead] = Field(description="The values of a sample in the words of open standards.")

    @classmethod
    def of(cls, step: ToldStep) -> Self:
        """Show a step."""
        return cls(
            event=step.event,
            id=step.id,
            at=step.at,
            by=step.by,
            why=step.why,
            figures={name: round(value, 6) for name, value in step.figures.items()},
            before=StateRead.of(step.before),
            after=StateRead.of(step.after),
            grades=[GradeRead.of(shown) for shown in step.grades],
        )


class HistoryRead(BaseModel):
    """Everything that happened to the fluid in a compartment, from the oldest on."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": "cmp_31",
                    "vehicle": "VAN-07",
                    "compartment": "gearbox",
                    "kind": "automatic_transmission_car",
                    "steps": [
                        {
                            "event": "service",
                            "id": "srv_71",
                            "at": "2026-05-01T13:10:00Z",
                            "by": "J. Doe",
                            "why": "1 round: 50% of the charge is new; the schedule moves by that share, "
                            "not by a whole interval.",
                            "figures": {"km_since": 24000, "drained_litres": 4, "fresh_share": 0.5},
                            "before": {**STATE_EXAMPLE, "life_used": 0.62, "fresh_share": 0},
                            "after": STATE_EXAMPLE,
                            "grades": [],
                        }
                    ],
                }
            ]
        }
    )

    id: str
    vehicle: str
    compartment: str
    kind: FluidKind
    steps: list[StepRead]

    @classmethod
    def of(cls, history: ToldHistory) -> Self:
        """Show a history."""
        return cls(
            id=format_id(IdKind.COMPARTMENT, history.compartment.id),
            vehicle=history.vehicle,
            compartment=history.compartment.reference,
            kind=FluidKind(history.compartment.kind),
            steps=[StepRead.of(step) for step in history.steps],
        )


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
