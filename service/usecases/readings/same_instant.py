"""Two numbers that a vehicle is told to have shown at one instant: both may be believed, and it is asked about."""

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np

from service.domain.outcomes import ReadingOutcome
from service.engine.screening.plausibility import ROUNDING_KM
from service.usecases.readings.known_readings import SAME_TIME_DAYS
from service.usecases.readings.new_readings import NewReadings
from service.usecases.readings.row_outcomes import ACCEPTED, RowResult

_STORED: Final = -1


def ask_about_same_instants(new: NewReadings, stored: Iterable[Any], places: Sequence[int]) -> None:
    """Say beside believed new rows that another one of their instant, stored or new, shows something else.

    They are not held: a day without a time of day is taken at noon, and a vehicle may be read twice a day.
    """
    own = np.array(places, dtype=np.int64)
    own = own[(new.outcomes.outcome[own] == ACCEPTED) & ~np.isnan(new.used_km[own])]
    if own.size == 0:
        return
    others = [
        (row[1], row[2], row[7]) for row in stored if row[4] == ReadingOutcome.ACCEPTED and row[7] is not None
    ]
    stored_vehicle, stored_days, stored_km = np.array(others, dtype=np.float64).reshape(-1, 3).T
    vehicle = np.concatenate((stored_vehicle, new.vehicle_ids[new.vehicle[own]]))
    days = np.concatenate((stored_days, new.at_days[own]))
    km = np.concatenate((stored_km, new.used_km[own]))
    place = np.concatenate((np.full(len(others), _STORED), own))
    order = np.lexsort((days, vehicle))
    vehicle, days, km, place = vehicle[order], days[order], km[order], place[order]
    differs = (vehicle[1:] == vehicle[:-1]) & (np.diff(days) <= SAME_TIME_DAYS)
    differs &= np.abs(np.diff(km)) > ROUNDING_KM
    for at in np.flatnonzero(differs).tolist():
        _ask(new, int(place[at]), float(km[at + 1] - km[at]))
        _ask(new, int(place[at + 1]), float(km[at] - km[at + 1]))


def _ask(new: NewReadings, place: int, other_by_km: float) -> None:
    if place != _STORED:
        result = new.outcomes.result(place)
        compared = f"{abs(other_by_km):,.0f} km {'more' if other_by_km > 0.0 else 'less'}"
        detail = f"Another reading of the very same time shows {compared}; discard either if it is wrong."
        new.outcomes.note(place, RowResult(result.outcome, result.reason, detail))
