"""Give memory that nothing uses back to the operating system.

The C library keeps, thread by thread, what the largest moment took, and gives back only what lies at the end of that.
In a server now this thread and now that one reads a whole fleet's history, so after some hours it would hold several
times what it uses.
"""

import ctypes
from collections.abc import Callable
from functools import cache


@cache
def _trim() -> Callable[[int], int] | None:
    """Find glibc's way to do it; other C libraries have none, and keep less."""
    return getattr(ctypes.CDLL(None), "malloc_trim", None)


def give_back_memory() -> None:
    """Give back every whole page that is free, wherever it lies; other threads go on meanwhile."""
    trim = _trim()
    if trim is not None:
        trim(0)
