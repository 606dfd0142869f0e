"""Request and answer models of due lists."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Day, Line400
from service.domain.external_ids import IdKind, format_id
from service.store.repositories.due_lists import day_of, state_of
from service.store.tables.due_lists import DueListLine, LineEvent
from service.usecases.week.contaminated_since import Alarm
from service.usecases.week.describe_line import ListedLine
from service.usecases.week.show_due_list import ShownList

LINE_EXAMPLE: dict[str, Any] = {
    "id": "lin_88",
    "vehicle": "VAN-07",
    "compartment": "gearbox",
    "depot": "North",
    "kind": "automatic_transmission_car",
    "fluid": "ATF-A",
    "reason": "The interval ends in about 310 km.",
    "limit": "distance",
    "due": {"p10": "2026-05-05", "p50": "2026-05-08", "p90": "2026-05-14"},
    "overdue_probability": 0.03,
    "planned_on": "2026-05-05",
    "method": "drain_and_fill",
    "rounds": 3,
    "litres": 10.5,
    "labour_minutes": 150,
    "change": "new",
    "first_listed_week": "2026-W19",
    "state": "open",
}


class LineDue(BaseModel):
    """Three quantiles of the due date; null beyond the horizon."""

    p10: date | None
    p50: date | None
    p90: date | None


class LineEventRead(BaseModel):
    """What happened to a line."""

    kind: str
    at: datetime
    by: str
    moved_to_on: date | None
    note: str | None


class DueLineRead(BaseModel):
    """One compartment that is due."""

    model_config = ConfigDict(json_schema_extra={"examples": [LINE_EXAMPLE]})

    id: str | None
    vehicle: str
    compartment: str
    compartment_id: str
    depot: str
    kind: str
    fluid: str | None
    reason: str
    limit: str
    due: LineDue
    overdue_probability: float
    planned_on: date | None = Field(
        description="Day the line stands on: the one it was last moved to, else the one the list gave."
    )
    method: str
    rounds: int
    litres: float
    labour_minutes: int = Field(description="Of the work alone, without setting up the visit.")
    change: Literal["new", "carried_over", "moved"]
    first_listed_week: str
    state: Literal["open", "done", "dropped"]
    events: list[LineEventRead]
    detail: dict[str, Any]

    @classmethod
    def of(cls, line: DueListLine | ListedLine, events: Sequence[LineEvent]) -> Self:
        """Show a line with what happened to it."""
        number = line.id if isinstance(line, DueListLine) else None
        return cls(
            id=None if number is None else format_id(IdKind.DUE_LIST_LINE, number),
            vehicle=line.vehicle,
            compartment=line.compartment,
            compartment_id=format_id(IdKind.COMPARTMENT, line.compartment_id),
            depot=line.depot,
            kind=line.kind,
            fluid=line.fluid,
            reason=line.reason,
            limit=line.limit_reached,
            due=LineDue(p10=line.due_q10_on, p50=line.due_q50_on, p90=line.due_q90_on),
            overdue_probability=line.overdue_probability,
            planned_on=day_of(line, events),
            method=line.method,
            rounds=line.n_rounds,
            litres=line.litres,
            labour_minutes=line.labour_minutes,
            change=line.change,
            first_listed_week=line.first_listed_week,
            state=state_of(events),
            events=[
                LineEventRead(**event.model_dump(include=set(LineEventRead.model_fields))) for event in events
            ],
            detail=line.detail,
        )


class AlarmRead(BaseModel):
    """A fluid that was found contaminated after the list was fixed; it is due now."""

    vehicle: str
    compartment: str
    compartment_id: str
    reason: str


class DueListRead(BaseModel):
    """The list of a week: published and fixed, or a draft."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "iso_week": "2026-W19",
                    "status": "published",
                    "published_at": "2026-05-01T04:00:00Z",
                    "n_lines": 1,
                    "since_last": {"list": "2026-W18", "done": [], "moved": []},
                    "contaminated_since": [],
                    "lines": [LINE_EXAMPLE],
                }
            ]
        }
    )

    iso_week: str
    status: Literal["published", "draft"]
    published_at: datetime | None
    n_lines: int
    since_last: dict[str, Any]
    contaminated_since: list[AlarmRead] = Field(
        description="Of a published list, until its week is over: what it does not say and cannot wait."
    )
    lines: list[DueLineRead] = Field(
        description="By `planned_on`, those without a day last; within a day the most urgent first."
    )

    @classmethod
    def of(cls, shown: ShownList, alarms: Sequence[Alarm]) -> Self:
        """Show a list, and what was found since it was fixed."""
        return cls(
            iso_week=str(shown.week),
            status="draft" if shown.published is None else "published",
            published_at=None if shown.published is None else shown.published.published_at,
            n_lines=len(shown.lines),
            since_last=shown.since_last,
            contaminated_since=[
                AlarmRead(
                    vehicle=one.vehicle,
                    compartment=one.compartment,
                    compartment_id=format_id(IdKind.COMPARTMENT, one.compartment_id),
                    reason=one.reason,
                )
                for one in alarms
            ],
            lines=[DueLineRead.of(line, events) for line, events in shown.lines],
        )


class DueListHead(BaseModel):
    """A published list without its lines."""

    iso_week: str
    published_at: datetime
    n_lines: int


class DueListHeads(BaseModel):
    """Published lists, the latest week first."""

    due_lists: list[DueListHead]


class LineMark(Body):
    """What became of a line."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"kind": "moved", "moved_to_on": "2026-05-07"}]}
    )

    kind: Literal["done", "moved", "dropped", "reopened"]
    moved_to_on: Day | None = None
    note: Line400 | None = None
