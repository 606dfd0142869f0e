"""One set-up at a time in a project folder, and a note that survives a killed one."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from deploy.progress import say

UNFINISHED = "unfinished\n"


@dataclass(frozen=True, kw_only=True, slots=True)
class Turn:
    """The right to change the environment; the file says whether the last holder finished."""

    file: TextIO

    @property
    def descriptor(self) -> int:
        """To be inherited by the installer, so that a killed parent does not let a second set-up in."""
        return self.file.fileno()

    @property
    def is_unfinished(self) -> bool:
        """Whether a set-up began and never ended."""
        self.file.seek(0)
        return self.file.read() == UNFINISHED

    def begin(self) -> None:
        """Note, before anything is changed, that a set-up is under way."""
        self._write(UNFINISHED)

    def finish(self) -> None:
        """Note that the environment is whole again."""
        self._write("")

    def _write(self, text: str) -> None:
        self.file.seek(0)
        self.file.truncate()
        self.file.write(text)
        self.file.flush()


@contextmanager
def take_turn(path: Path) -> Iterator[Turn]:
    """Wait for the turn; the lock goes with the process, so a killed one blocks nobody."""
    with path.open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Another set-up is at work in this folder; waiting for it …")
            fcntl.flock(file, fcntl.LOCK_EX)
        yield Turn(file=file)
