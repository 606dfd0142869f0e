"""Where the readings of vehicles end: what is kept of each, so that the next is judged without the earlier ones."""

from collections.abc import Sequence
from math import isnan
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.engine.arrays import Integers
from service.store.repositories.reading_owners import Owners
from service.store.repositories.reading_windows import vehicles_with_readings
from service.usecases.readings.row_outcomes import Marks

N_POINTS: Final = 4
"""A step is believed by the two before it and the one after; so the steps to three of these stand as they were."""

READING_END: Final = np.dtype(
    [
        ("is_settled", "?"),
        ("last_days", "f8"),
        ("first_days", "f8"),
        ("first_km", "f8"),
        ("since_days", "f8"),
        ("later_days", "f8"),
        ("n_later", "f8"),
        ("factor", "f8"),
        ("offset_km", "f8"),
        ("hours_days", "f8"),
        ("hours", "f8"),
        ("point_days", "f8", (N_POINTS,)),
        ("point_km", "f8", (N_POINTS,)),
    ]
)
"""One vehicle's end.

is_settled
    Whether nothing about the latest odometer readings is in doubt.
last_days
    Time of its latest reading of any kind, minus infinity if it has none.
first_days, first_km
    Its first accepted odometer reading, on the continuous series.
since_days, later_days, n_later
    From where on its readings are read when they are needed, and the next such time with how many were accepted since.
factor, offset_km
    The present instrument continues the first one at ``factor * number + offset_km``.
hours_days, hours
    Its latest believed engine hours.
point_days, point_km
    Its latest accepted odometer readings as the instrument showed them, the last one last.
"""

ReadingEnds = NDArray[Any]
"""Structured array of `READING_END`; NaN is what there is not."""


class WindowEnd(NamedTuple):
    """From where on a vehicle's readings have to be looked at, its latest reading and its first accepted odometer."""

    since_days: float
    last_days: float
    first_days: float
    first_km: float


def blank_ends(n_vehicles: int) -> ReadingEnds:
    """Ends of vehicles without any reading."""
    ends = np.zeros(n_vehicles, dtype=READING_END)
    for name in READING_END.names or ():
        if name != "is_settled":
            ends[name] = np.nan
    ends["last_days"], ends["n_later"], ends["factor"], ends["offset_km"] = -np.inf, 0.0, 1.0, 0.0
    return ends


def load_ends(session: Session, organisation_id: int, vehicle_ids: Integers, owners: Owners) -> ReadingEnds:
    """Take the ends of vehicles in ascending order; one that has readings but no end is not settled."""
    ends = blank_ends(vehicle_ids.size)
    ended = np.array(owners.ended, dtype=np.int64)
    is_wanted = np.isin(ended, vehicle_ids)
    at = np.searchsorted(vehicle_ids, ended[is_wanted])
    ends[at] = np.frombuffer(owners.ends, dtype=READING_END)[is_wanted]
    others = np.flatnonzero(~is_known(ends))
    with_readings = vehicles_with_readings(session, organisation_id, vehicle_ids[others].tolist())
    ends["is_settled"][others] = ~np.isin(vehicle_ids[others], list(with_readings))
    return ends


def is_known(ends: ReadingEnds) -> Marks:
    """Mark the ends that the next reading can be judged by."""
    return np.asarray(ends["last_days"] > -np.inf)


def window_ends(vehicle_ids: Sequence[int], ends: ReadingEnds) -> dict[int, WindowEnd]:
    """Of those vehicles that have one."""
    columns = (ends[name].tolist() for name in WindowEnd._fields)
    found = zip(vehicle_ids, zip(*columns, strict=True), strict=True)
    return {key: WindowEnd(*numbers) for key, numbers in found if not isnan(numbers[0])}
