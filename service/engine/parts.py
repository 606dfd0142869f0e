"""Cutting a fleet into parts, and working on them on two threads."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

Part = TypeVar("Part")

# NumPy lets go of the interpreter while it computes; more threads than this wait for each other. Measured.
_THREADS: Final = 2
_WORTH_THREADS: Final = 4


def vehicle_blocks(offsets: NDArray[np.int64], most_readings: int) -> Iterator[tuple[int, int]]:
    """Cut vehicles, whose readings begin at `offsets`, into blocks of at most so many readings, or of one vehicle."""
    begin, n_vehicles = 0, offsets.size - 1
    while begin < n_vehicles:
        end = int(np.searchsorted(offsets, offsets[begin] + most_readings, side="right")) - 1
        end = min(max(end, begin + 1), n_vehicles)
        yield begin, end
        begin = end


def for_every_part(work: Callable[[Part], None], parts: Iterable[Part]) -> None:
    """Work on parts that write to places of their own, in whatever order the threads come to them."""
    every = list(parts)
    if len(every) < _WORTH_THREADS:
        for part in every:
            work(part)
        return
    with ThreadPoolExecutor(_THREADS) as pool:
        for done in [pool.submit(work, part) for part in every]:
            done.result()
