"""Numbers that nobody searches for, side by side in one column: a driver spends longer on a value than on a row."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from service.domain.due_reasons import Limit

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


def bytes_by_owner(records: NDArray[Any], starts: NDArray[np.int64]) -> list[bytes]:
    """Cut records into the bytes of each owner's, given where these begin."""
    whole, size = records.tobytes(), records.itemsize
    ends = [*(starts[1:] * size).tolist(), len(whole)]
    return [whole[start:end] for start, end in zip((starts * size).tolist(), ends, strict=True)]
