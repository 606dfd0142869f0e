"""Whether the numbers that somebody gave for the last service can have stood on the meters on that day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlmodel import Session

from service.errors import InvalidInputError
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.follow_fluid import FluidHistory
from service.usecases.fluids.told_start import SLACK_HOURS, SLACK_KM, day_over, place_of_less
from service.usecases.fluids.update_states import explain_state, load_histories
from service.usecases.usage.engine_time import instant_of

UNITS: Final = {"last_service_odometer_km": "km", "last_service_engine_hours": "h"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLess:
    """A reading after the last service that shows less than was told of it, which does not count then."""

    field: str
    told: float
    shown: float
    on: date


def shown_less(history: FluidHistory) -> list[ShownLess]:
    """Find the first reading after the last service, as it was told, that shows less on either meter."""
    row, meters = history.compartment, history.meters
    if row.baseline_on is None:
        return []
    since = day_over(row.baseline_on, history.zone)
    found = []
    for field, told, slack, days, shown in (
        ("last_service_odometer_km", row.baseline_odometer_km, SLACK_KM, meters.km_days, meters.km),
        (
            "last_service_engine_hours",
            row.baseline_engine_hours,
            SLACK_HOURS,
            meters.hours_days,
            meters.hours,
        ),
    ):
        place = place_of_less(told, slack, days, shown, since)
        if told is not None and place is not None:
            on = instant_of(days[place]).astimezone(history.zone).date()
            found.append(ShownLess(field=field, told=told, shown=float(shown[place]), on=on))
    return found


def require_told_meters(session: Session, compartment: Compartment) -> None:
    """Refuse a last service at more than a later reading shows; the compartment is stored.

    Raises
    ------
    InvalidInputError
        Saying which reading speaks against it.
    """
    if not _tells_meters(compartment):
        return
    history, _ = explain_state(session, compartment.organisation_id, compartment)
    for one in shown_less(history):
        raise InvalidInputError.at(
            f"/{one.field}",
            f"Later, on {one.on}, the meter showed less: {one.shown:,.0f} {UNITS[one.field]}. Check the number and the "
            "date; if they are right, discard that reading first, on the vehicle's page or by the API.",
        )


def told_in_vain(
    session: Session, organisation_id: int, rows: Sequence[Compartment]
) -> dict[int | None, list[ShownLess]]:
    """Find readings that came later and speak against what was told of compartments, of one vehicle, by their keys.

    Of those that were serviced since, it counts no more.
    """
    if not any(map(_tells_meters, rows)):
        return {}
    histories = load_histories(session, organisation_id, sorted({row.vehicle_id for row in rows}))
    return {one.compartment.id: shown_less(one) for one in histories if not one.items}


def meter_warnings(found: Sequence[ShownLess]) -> list[str]:
    """Say it to programs, by the names of their fields."""
    return [
        f"The last service is told at {one.told:,.0f} {UNITS[one.field]}, but later, on {one.on}, the meter showed "
        f"{one.shown:,.0f}: what the readings show counts instead. Correct {one.field}, or discard the reading."
        for one in found
    ]


def _tells_meters(row: Compartment) -> bool:
    numbers = row.baseline_odometer_km, row.baseline_engine_hours
    return row.baseline_on is not None and any(number is not None for number in numbers)
