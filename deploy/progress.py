"""One line a step, on standard error: quiet about success, alive while it lasts."""

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


def say(text: str) -> None:
    """Print a whole line now."""
    print(text, file=sys.stderr, flush=True)


@dataclass(slots=True)
class Outcome:
    """How a step ends: well, unless the block says otherwise or raises."""

    succeeded: bool = True


@contextmanager
def step(text: str) -> Iterator[Outcome]:
    """Show `text` while the block runs, with the seconds on a terminal, and how it ended."""
    started = time.monotonic()
    finished = threading.Event()
    on_terminal = sys.stderr.isatty()
    print(f"{text} …", end="", file=sys.stderr, flush=True)
    ticker = threading.Thread(target=_tick, args=(text, started, finished), daemon=True)
    if on_terminal:
        ticker.start()
    outcome = Outcome()
    try:
        yield outcome
    except BaseException:
        outcome.succeeded = False
        raise
    finally:
        finished.set()
        if on_terminal:
            ticker.join()
        again = f"\r{text} …" if on_terminal else ""
        ending = "done in" if outcome.succeeded else "failed after"
        say(f"{again} {ending} {time.monotonic() - started:.1f} s")


def _tick(text: str, started: float, finished: threading.Event) -> None:
    while not finished.wait(1.0):
        print(f"\r{text} … {time.monotonic() - started:.0f} s", end="", file=sys.stderr, flush=True)
