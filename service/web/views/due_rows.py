"""When the fluids of a vehicle are due: the short answer at the head of its page."""

from dataclasses import dataclass
from datetime import date

from service.documents.presentation import Presentation
from service.usecases.plans.show_vehicle import VehicleView
from service.web.catalogue import translate


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRow:
    """When one compartment is due most likely; `place` is that of its card on the page."""

    place: int
    name: str
    due: str
    is_due: bool


def due_rows(view: VehicleView, presentation: Presentation) -> tuple[DueRow, ...]:
    """What comes first stands first."""
    fluids = view.projection.fluids
    days = [(fluids.due_dates[1][one.place], number) for number, one in enumerate(view.compartments, start=1)]
    return tuple(
        DueRow(
            place=number,
            name=view.compartments[number - 1].compartment.reference,
            due=presentation.day(day) if day else translate("next_beyond"),
            is_due=day is not None and day <= fluids.today,
        )
        for day, number in sorted(days, key=lambda one: (one[0] or date.max, one[1]))
    )
