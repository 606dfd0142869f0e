"""Cutting a fleet into parts, and working on them on two threads."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

import numpy as np

from service.engine.arrays import Integers

Part = TypeVar("Part")

# NumPy lets go of the interpreter while it computes; more threads than this wait for each other. Measured.
_THREADS: Final = 2
_WORTH_THREADS: Final = 4
# The GNU C library gives freed arrays back to the system once they are more than twice the largest that was freed
# before (mallopt(3), M_MMAP_THRESHOLD; 32 MiB at most). Having freed this one it keeps those of one part for the next:
# a fleet of 20,000 spent a quarter of its time on memory that was new again and again.
_KEPT_BYTES: Final = 31 << 20


def vehicle_blocks(offsets: Integers, most_readings: int) -> Iterator[tuple[int, int]]:
    """Cut vehicles, whose readings begin at `offsets`, into blocks of at most so many readings, or of one vehicle."""
    begin, n_vehicles = 0, offsets.size - 1
    while begin < n_vehicles:
        end = int(np.searchsorted(offsets, offsets[begin] + most_readings, side="right")) - 1
        end = min(max(end, begin + 1), n_vehicles)
        yield begin, end
        begin = end


def for_every_part(work: Callable[[Part], None], parts: Iterable[Part]) -> None:
    """Work on parts that write to places of their own, in whatever order the threads come to them."""
    np.empty(_KEPT_BYTES, dtype=np.uint8)  # never touched, freed at once
    every = list(parts)
    if len(every) < _WORTH_THREADS:
        for part in every:
            work(part)
        return
    with ThreadPoolExecutor(_THREADS) as pool:
        for done in [pool.submit(work, part) for part in every]:
            done.result()
