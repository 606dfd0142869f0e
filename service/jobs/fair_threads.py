"""Threads that call each other while something is due; `counterparts.py` says whose turn it is."""

import threading
from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Generic, TypeVar

import structlog

from service.jobs.counterparts import Counterpart, Counterparts
from service.store.repositories.occupied import Occupied

log = structlog.get_logger("threads")

Task = TypeVar("Task")


class FairThreads(ABC, Generic[Task]):
    """Do what waits in the database, each task with a counterpart that may let us wait."""

    name: str

    def __init__(self, counterparts: Counterparts) -> None:
        self.counterparts = counterparts
        self._threads: set[threading.Thread] = set()
        self._lock = threading.Lock()
        self._claiming = threading.Lock()
        self._is_stopping = threading.Event()

    @abstractmethod
    def is_any_due(self) -> bool:
        """Whether there is anything to do, so that an idle node takes no lock."""

    @abstractmethod
    def claim(self, turns: Iterator[Occupied]) -> Task | None:
        """Take the task that has waited longest and is none of the occupied, at the first turn that finds one."""

    @abstractmethod
    def counterpart_of(self, task: Task) -> Counterpart:
        """Whom the task is with."""

    @abstractmethod
    def do(self, task: Task) -> None:
        """Do it, and write down how it ended."""

    def start_due(self) -> bool:
        """Put a further thread to work if something is due; returns whether, without waiting for it."""
        if self._is_stopping.is_set() or self.counterparts.n_waiting or not self.is_any_due():
            return False
        # Daemons: stopping the program waits for nobody else's server, and an unfinished try is made again later.
        thread = threading.Thread(target=self._work, name=self.name, daemon=True)
        with self._lock:
            if len(self._threads) >= self.counterparts.shares.threads:
                return False
            self._threads.add(thread)
            thread.start()  # before anybody else sees it and waits for it
        return True

    def finish_due(self) -> None:
        """Do everything that is due, and wait until it is done."""
        while self.start_due() or self._threads:
            for thread in list(self._threads):
                thread.join()

    def stop(self) -> None:
        """Begin nothing more."""
        self._is_stopping.set()

    def _work(self) -> None:
        try:
            while self._take_one():
                pass
        except Exception:
            log.exception("thread_failed", threads=self.name)
        finally:
            with self._lock:
                self._threads.discard(threading.current_thread())

    def _take_one(self) -> bool:
        self.counterparts.begin()
        try:
            task = self._claim()
            if task is not None:
                try:
                    self.start_due()
                    self.do(task)
                finally:
                    self.counterparts.note_settled(self.counterpart_of(task))
        finally:
            self.counterparts.end()
        return task is not None

    def _claim(self) -> Task | None:
        """Take a task with a counterpart that no thread of ours is busy with; marked busy until it is settled."""
        with self._claiming:
            if self._is_stopping.is_set() or not self.is_any_due():
                return None
            task = self.claim(self.counterparts.turns())
            if task is not None:
                self.counterparts.note_taken(self.counterpart_of(task))
        return task
