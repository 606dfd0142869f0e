"""Give memory that nothing uses back to the operating system.

The C library keeps, thread by thread, what the largest moment took, and gives back only what lies at the end of that.
In a server now this thread and now that one reads a whole fleet's history, so after some hours it would hold several
times what it uses.
"""

import ctypes
from collections.abc import Callable
from functools import cache
from typing import Final

_M_ARENA_MAX: Final = -8
"""glibc, malloc.h."""


@cache
def _of_c_library(name: str) -> Callable[..., int] | None:
    """Find one of glibc's functions; other C libraries have none, and keep less."""
    return getattr(ctypes.CDLL(None), name, None)


def share_one_heap() -> None:
    """Let all threads take memory from one heap; for a process that has just begun.

    Python runs one thread at a time, so they hardly ever wait for each other, and what one has left the next one uses.
    """
    set_option = _of_c_library("mallopt")
    if set_option is not None:
        set_option(_M_ARENA_MAX, 1)


def give_back_memory() -> None:
    """Give back every whole page that is free, wherever it lies; other threads go on meanwhile."""
    trim = _of_c_library("malloc_trim")
    if trim is not None:
        trim(0)
