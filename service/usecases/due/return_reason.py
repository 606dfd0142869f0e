"""Say that a compartment is due because somebody planned to come back."""

from typing import Any

from service.domain.due_reasons import Limit, return_visit_reason
from service.domain.units_of_distance import DistanceUnit
from service.usecases.due.project_due import FleetProjection


def return_reason(
    projection: FleetProjection, place: int, limit: Limit | None, unit: DistanceUnit
) -> str | None:
    """Give the sentence of a return visit; none if something else bites."""
    columns = projection.compartments
    if not _is_return(columns, place, limit):
        return None
    due_km, left = columns["return_odometer_km"][place], None
    if due_km is not None:
        left = unit.of_km(due_km - float(projection.expected_odometer_km[projection.vehicle_row[place]]))
    return return_visit_reason(columns["return_rounds"][place], columns["return_on"][place], left, unit)


def _is_return(columns: dict[str, list[Any]], place: int, limit: Limit | None) -> bool:
    """Whether what bites is a return visit that comes before the schedule."""
    name = {Limit.CALENDAR: "on", Limit.DISTANCE: "odometer_km"}.get(limit) if limit is not None else None
    if name is None:
        return False
    planned = columns[f"return_{name}"][place]
    return planned is not None and planned == columns[f"due_{name}"][place]
