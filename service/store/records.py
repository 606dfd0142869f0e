"""Numbers that nobody searches for, side by side in one column: a driver spends longer on a value than on a row."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from service.domain.due_reasons import Limit

FLUID: Final = np.dtype(
    [
        (name, "<f8")
        for name in (
            "as_of_days",
            "odometer_km",
            "engine_hours",
            "volume_15c_litres",
            "life_used",
            "life_used_variance",
            "water_mass_fraction",
            "iron_mg_per_kg",
            "glycol_fraction",
        )
    ]
)
"""The fluid in a compartment after its last event: when that was, in days since 1970-01-01 UTC, what the meters showed,
on the vehicle's continuous series, NaN where nobody knows, and what is in it.
"""

FIGURES: Final = np.dtype(
    [
        ("due_on", "<M8[D]", 3),
        ("limit_reached", "S16"),
        ("limit_probability", "<f4", len(Limit)),
        ("overdue_probability", "<f4"),
        ("week_probability", "<f4", 26),
        ("life_used", "<f4", 3),
        ("litres", "<f4"),
        ("n_rounds", "<i4"),
    ]
)
"""What is projected of one compartment. P10, P50 and P90 of the day on which it is due, in days since 1970, NaT beyond
the horizon; the limit that most likely bites first; the probability of each `Limit`, in their order, of being the first
reached within the horizon, of being overdue, and of falling due in each of the coming ISO weeks, the present one first;
P10, P50 and P90 of the life used now; litres and rounds of the next exchange, whose method is that of the fluid's kind.
"""


def fluid_records(columns: Mapping[str, Any]) -> NDArray[np.void]:
    """Put columns into records `FLUID`.

    Raises
    ------
    ValueError
        If what was used of a life, or its variance, is no number that it can be.
    """
    fluids = np.empty(len(columns["life_used"]), FLUID)
    for name in FLUID.names or ():
        fluids[name] = np.array(columns[name], np.float64)
    if not np.all((fluids["life_used"] >= 0.0) & (fluids["life_used_variance"] >= 0.0)):
        message = "life used and its variance are no less than nothing"
        raise ValueError(message)
    return fluids


def as_bytes(records: NDArray[Any]) -> NDArray[np.void]:
    """Give records as a column of bytes."""
    return records.view(np.dtype((np.void, records.itemsize)))


def bytes_by_owner(records: NDArray[Any], starts: NDArray[np.int64]) -> NDArray[np.object_]:
    """Cut records into the bytes of each owner's, given where these begin."""
    whole, size = records.tobytes(), records.itemsize
    ends = [*(starts[1:] * size).tolist(), len(whole)]
    cut = [whole[start:end] for start, end in zip((starts * size).tolist(), ends, strict=True)]
    return np.array(cut, dtype=np.object_)
