"""Whether the numbers that somebody gives for the last service can have stood on the meters on that day."""

from datetime import datetime, time
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.zones import first_instant
from service.errors import InvalidInputError
from service.store.tables.vehicles import Compartment
from service.usecases.fluids.update_states import explain_state
from service.usecases.usage.engine_time import days_of, instant_of

SLACK_KM: Final = 1.0
SLACK_HOURS: Final = 0.2
"""What two people round apart. Common practice, no source."""


def require_told_meters(session: Session, compartment: Compartment) -> None:
    """Refuse a last service at more than a later reading shows: it would put the next one off.

    The compartment is stored. A reading of the same day may have been taken before the work.

    Raises
    ------
    InvalidInputError
        Saying which reading speaks against it.
    """
    km, hours = compartment.baseline_odometer_km, compartment.baseline_engine_hours
    if compartment.baseline_on is None or (km is None and hours is None):
        return
    history, _ = explain_state(session, compartment.organisation_id, compartment)
    day_over = days_of(first_instant(compartment.baseline_on, time(), history.zone)) + 1.0
    meters = history.meters
    for pointer, told, slack, days, shown, unit in (
        ("/last_service_odometer_km", km, SLACK_KM, meters.km_days, meters.km, "km"),
        ("/last_service_engine_hours", hours, SLACK_HOURS, meters.hours_days, meters.hours, "h"),
    ):
        place = int(np.searchsorted(days, day_over))
        if told is not None and place < len(shown) and told > shown[place] + slack:
            on: datetime = instant_of(days[place]).astimezone(history.zone)
            raise InvalidInputError.at(
                pointer,
                f"Later, on {on.date()}, the meter showed less: {shown[place]:,.0f} {unit}. Check the number and the "
                "date; if they are right, discard that reading first.",
            )
