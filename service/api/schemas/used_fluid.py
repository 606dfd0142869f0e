"""Answer models of used fluid: how full containers are, and when they have to be fetched."""

from dataclasses import asdict
from datetime import date, datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.schemas.stock import tidy
from service.domain.used_fluid import STREAM_RULES, WasteStream
from service.usecases.orders.plan_collections import CollectionPlan, PlannedCollection

CONTAINER_EXAMPLE: dict[str, Any] = {
    "depot": "North",
    "stream": "lubricating_oil",
    "litres": 132.5,
    "expected_litres": 420.0,
    "capacity_litres": 400.0,
    "room_litres": 267.5,
    "last_emptied_at": "2026-04-01T06:00:00Z",
    "fetch_by": "2026-06-15",
    "overflow_probability": 0.18,
    "never_with": "Brake fluid, coolant, solvent, washer fluid, halogenated oil or oily water.",
}


class ContainerRead(BaseModel):
    """The container of one stream at one depot; streams are never mixed."""

    model_config = ConfigDict(json_schema_extra={"examples": [CONTAINER_EXAMPLE]})

    depot: str
    stream: WasteStream
    litres: float = Field(
        description="What services drained since it was last emptied, less what was fetched."
    )
    expected_litres: float = Field(description="What the jobs of the weeks will add on average.")
    capacity_litres: float | None = Field(description="As the depot's settings say; null: not known.")
    room_litres: float | None
    last_emptied_at: datetime | None
    fetch_by: date | None = Field(
        description="First day of the week in which it may run over; null if it lasts or nobody knows its size."
    )
    overflow_probability: float | None = Field(
        description="Of running over by the end of that week; where it lasts, by the end of all weeks."
    )
    never_with: str

    @classmethod
    def of(cls, one: PlannedCollection) -> Self:
        """Show one container."""
        fields = asdict(one)
        for name in ("litres", "expected_litres", "room_litres"):
            fields[name] = None if fields[name] is None else tidy(fields[name])
        if one.overflow_probability is not None:
            fields["overflow_probability"] = round(one.overflow_probability, 4)
        return cls(**fields, never_with=STREAM_RULES[one.stream].never_with)


class UsedFluidPlanRead(BaseModel):
    """All containers, by depot and stream."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"today": "2026-05-04", "weeks": 12, "containers": [CONTAINER_EXAMPLE]}]
        }
    )

    today: date
    weeks: int
    containers: list[ContainerRead]

    @classmethod
    def of(cls, plan: CollectionPlan) -> Self:
        """Show the plan."""
        return cls(
            today=plan.today,
            weeks=plan.n_weeks,
            containers=[ContainerRead.of(one) for one in plan.containers],
        )
