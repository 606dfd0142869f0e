"""Working on the parts of a fleet on two threads."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

Part = TypeVar("Part")

# NumPy lets go of the interpreter while it computes; more threads than this wait for each other. Measured.
_THREADS: Final = 2
_WORTH_THREADS: Final = 4


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
