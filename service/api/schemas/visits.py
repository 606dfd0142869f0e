"""Request and answer models of the visit plan."""

from datetime import date, datetime
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Day, Line400, VehicleName
from service.api.schemas.due_lists import LINE_EXAMPLE, DueLineRead
from service.domain.external_ids import IdKind, format_id
from service.domain.visit_reasons import Placing
from service.store.tables.visits import VisitPin
from service.usecases.week.show_visits import ShownPlan, ShownVisit, WeekLoad, WeekOption

PIN_EXAMPLE: dict[str, Any] = {
    "id": "pin_4",
    "vehicle": "VAN-07",
    "kind": "on",
    "day": "2026-05-07",
    "note": "Comes back from the coast on Wednesday.",
    "set_by": "token office",
    "set_at": "2026-05-01T07:30:00Z",
}
VISIT_EXAMPLE: dict[str, Any] = {
    "vehicle": "VAN-07",
    "depot": "North",
    "day": "2026-05-05",
    "due_week": "2026-W19",
    "labour_minutes": 170,
    "saved_minor": 0,
    "placing": "in_its_week",
    "reasons": ["Due in 2026-W19, and planned there."],
    "lines": [LINE_EXAMPLE | {"id": None, "compartment_id": "cmp_9", "events": [], "detail": {}}],
    "options": [],
}


class PinCreate(Body):
    """A wish for the vehicle's next visit."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"vehicle": "VAN-07", "kind": "on", "day": "2026-05-07"}]}
    )

    vehicle: VehicleName
    kind: Literal["on", "not_before"]
    day: Day
    note: Line400 | None = None


class PinRead(BaseModel):
    """A pin."""

    model_config = ConfigDict(json_schema_extra={"examples": [PIN_EXAMPLE]})

    id: str
    vehicle: str
    kind: Literal["on", "not_before"]
    day: date
    note: str | None
    set_by: str
    set_at: datetime

    @classmethod
    def of(cls, pin: VisitPin, vehicle: str) -> Self:
        """Show a pin."""
        return cls(
            id=format_id(IdKind.VISIT_PIN, pin.id),
            vehicle=vehicle,
            kind=pin.kind,
            day=pin.day,
            note=pin.note,
            set_by=pin.by,
            set_at=pin.created_at,
        )


class Pins(BaseModel):
    """All pins of the organisation."""

    pins: list[PinRead]


class WeekOptionRead(BaseModel):
    """What a week would cost the visit, and whether it could be had at all."""

    iso_week: str
    early_minor: int
    overdue_minor: int
    can_come: bool
    free_minutes: int

    @classmethod
    def of(cls, option: WeekOption) -> Self:
        """Show a week."""
        return cls(
            iso_week=str(option.week),
            early_minor=round(option.early_minor),
            overdue_minor=round(option.overdue_minor),
            can_come=option.can_come,
            free_minutes=round(option.free_minutes),
        )


class VisitRead(BaseModel):
    """A visit with its work, its day, and why it is there; without a day it did not fit, or is due later."""

    model_config = ConfigDict(json_schema_extra={"examples": [VISIT_EXAMPLE]})

    vehicle: str
    depot: str
    day: date | None
    due_week: str | None
    labour_minutes: int = Field(description="Of all its work, and setting it up.")
    saved_minor: int
    placing: Placing
    reasons: list[str]
    lines: list[DueLineRead]
    options: list[WeekOptionRead]

    @classmethod
    def of(cls, visit: ShownVisit) -> Self:
        """Show a visit."""
        return cls(
            vehicle=visit.vehicle,
            depot=visit.depot,
            day=visit.day,
            due_week=None if visit.due_week is None else str(visit.due_week),
            labour_minutes=round(visit.labour_minutes),
            saved_minor=round(visit.saved_minor),
            placing=visit.placing,
            reasons=visit.reasons,
            lines=[DueLineRead.of(line, ()) for line in visit.lines],
            options=[WeekOptionRead.of(option) for option in visit.options],
        )


class WeekLoadRead(BaseModel):
    """Bay minutes of one week."""

    iso_week: str
    open_minutes: int
    booked_minutes: int
    overbooked_minutes: int
    n_visits: int

    @classmethod
    def of(cls, load: WeekLoad) -> Self:
        """Show a week's load."""
        return cls(
            iso_week=str(load.week),
            open_minutes=round(load.open_minutes),
            booked_minutes=round(load.booked_minutes),
            overbooked_minutes=round(load.overbooked_minutes),
            n_visits=load.n_visits,
        )


class DepotLoadRead(BaseModel):
    """Load of one depot over the weeks."""

    depot: str
    weeks: list[WeekLoadRead]


class VisitPlanRead(BaseModel):
    """The plan: visits with a day, the load of the depots, and what did not fit."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "weeks": ["2026-W19"],
                    "currency": "EUR",
                    "depots": [
                        {
                            "depot": "North",
                            "weeks": [
                                {
                                    "iso_week": "2026-W19",
                                    "open_minutes": 2400,
                                    "booked_minutes": 170,
                                    "overbooked_minutes": 0,
                                    "n_visits": 1,
                                }
                            ],
                        }
                    ],
                    "visits": [VISIT_EXAMPLE],
                    "not_placed": [],
                }
            ]
        }
    )

    weeks: list[str]
    currency: str
    depots: list[DepotLoadRead]
    visits: list[VisitRead]
    not_placed: list[VisitRead]

    @classmethod
    def of(cls, shown: ShownPlan) -> Self:
        """Show a plan."""
        visits = [VisitRead.of(visit) for visit in shown.visits]
        return cls(
            weeks=[str(week) for week in shown.weeks],
            currency=shown.currency,
            depots=[
                DepotLoadRead(depot=depot, weeks=[WeekLoadRead.of(load) for load in loads])
                for depot, loads in shown.loads.items()
            ],
            visits=[visit for visit in visits if visit.day is not None],
            not_placed=[visit for visit in visits if visit.day is None],
        )


class VehicleVisits(BaseModel):
    """All visits that one vehicle has ahead, with the cost of each week."""

    vehicle: str
    currency: str
    visits: list[VisitRead]
