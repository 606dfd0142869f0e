"""Request and answer models of return visits."""

from datetime import date, datetime
from typing import Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, IntervalKm, Line400, ReturnDays, Rounds
from service.domain.external_ids import IdKind, format_id
from service.store.tables.services import ReturnVisit


class ReturnVisitCreate(Body):
    """A plan to come back that somebody accepted."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"rounds": 2, "after_km": 3500, "after_days": 70}]}
    )

    rounds: Rounds
    after_km: IntervalKm | None = None
    after_days: ReturnDays | None = None
    note: Line400 | None = None


class ReturnVisitRead(BaseModel):
    """An accepted return visit."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "id": "ret_4",
                    "compartment": "cmp_31",
                    "rounds": 2,
                    "due_on": "2026-07-13",
                    "due_odometer_km": 87710.4,
                    "state": "open",
                }
            ]
        }
    )

    id: str
    compartment: str
    rounds: int
    due_on: date | None
    due_odometer_km: float | None
    note: str | None
    state: str = Field(description="open, fulfilled or cancelled.")
    accepted_at: datetime
    accepted_by: str

    @classmethod
    def of(cls, visit: ReturnVisit, state: str) -> Self:
        """Show a row."""
        return cls(
            id=format_id(IdKind.RETURN_VISIT, visit.id),
            compartment=format_id(IdKind.COMPARTMENT, visit.compartment_id),
            rounds=visit.n_rounds,
            state=state,
            **visit.model_dump(include={"due_on", "due_odometer_km", "note", "accepted_at", "accepted_by"}),
        )


class ReturnVisitList(BaseModel):
    """All return visits of a compartment, the latest first."""

    return_visits: list[ReturnVisitRead]
