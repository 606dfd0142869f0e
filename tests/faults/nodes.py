"""The real service as processes of their own: started from the command line, killed, started again."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import httpx

from service.domain.roles import Scope
from service.store.repositories.access import hash_secret
from service.store.session import Database
from service.store.tables.access import Token
from service.store.tables.organisation import Organisation

ROOT = Path(__file__).resolve().parents[2]
READY_SECONDS = 240.0
"""A start takes a second or two; a machine that others work on as well takes its time."""

FIRST_UNUSED_PORT = 1
"""A scheduler listens nowhere; its number names its log."""

TOKEN_MADE_AT = datetime(2020, 1, 1, tzinfo=UTC)


@dataclass
class Store:
    """A database that nodes share, and the way tests look into it."""

    url: str
    database: Database
    folder: Path

    @property
    def is_sqlite(self) -> bool:
        return self.database.is_sqlite

    def found(self, name: str = "Invented Haulage", **facts: object) -> tuple[int, str]:
        """Make an organisation; gives its key and a secret with every right."""
        secret = f"fault-secret-{uuid4().hex}"
        with self.database.transaction() as session:
            organisation = Organisation(name=name, created_at=TOKEN_MADE_AT, **facts)
            session.add(organisation)
            session.flush()
            session.add(
                Token(
                    organisation_id=organisation.id,
                    name="test",
                    secret_hash=hash_secret(secret),
                    scopes=sorted(Scope),
                    created_at=TOKEN_MADE_AT,
                    created_by="test",
                )
            )
            return organisation.id or 0, secret

    def execute(self, statement: str, **values: object) -> list[tuple[object, ...]]:
        """Rows of a query, read past the service."""
        from sqlalchemy import text

        with self.database.engine.connect() as connection:
            return [tuple(row) for row in connection.execute(text(statement), values)]

    def is_sound(self) -> bool:
        """What the store itself says of its state."""
        if not self.is_sqlite:
            return self.execute("SELECT count(*) FROM reading") is not None
        return self.execute("PRAGMA integrity_check") == [("ok",)]


@dataclass
class Node:
    """One process of the service."""

    store: Store
    command: tuple[str, ...]
    environment: dict[str, str] = field(default_factory=dict)
    port: int = 0
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def log(self) -> Path:
        return self.store.folder / f"node-{self.port}.log"

    def start(self) -> None:
        """Start the process, without waiting for it."""
        settings = {
            "DATABASE_URL": self.store.url,
            "ENVIRONMENT": "test",
            "SCHEDULER": "false",
            "PORT": str(self.port),
            "DATABASE_TIMEOUT_SECONDS": "30",
            **self.environment,
        }
        # A service keeps its compiled files, whatever this run of the tests does.
        environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith("SUMPWISE_") and name != "PYTHONDONTWRITEBYTECODE"
        }
        environment |= {f"SUMPWISE_{name}": value for name, value in settings.items()}
        environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "service", *self.command],
                cwd=ROOT,
                env=environment,
                stdout=log,
                stderr=subprocess.STDOUT,
            )

    def wait_until_ready(self, timeout: float = READY_SECONDS) -> float:
        """Wait until it says that it is ready; gives the seconds that took."""
        began = time.monotonic()
        while time.monotonic() - began < timeout:
            assert self.process is not None
            assert self.process.poll() is None, self.log.read_text(errors="replace")[-2000:]
            try:
                if httpx.get(f"{self.url}/readyz", timeout=2.0).status_code == 200:
                    return time.monotonic() - began
            except httpx.TransportError:
                pass
            time.sleep(0.05)
        raise AssertionError("not ready: " + self.log.read_text(errors="replace")[-2000:])

    def stop(self, number: int = signal.SIGKILL, timeout: float = 30.0) -> int:
        """Send a signal and wait for the end; gives the exit code."""
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(number)
        return self.process.wait(timeout)


def free_port() -> int:
    """Find a port that nobody listens on just now."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@contextmanager
def serving(store: Store, **environment: str) -> Iterator[Node]:
    """Run the server on a store for a while; whatever happens, it is gone afterwards."""
    node = Node(store, ("serve",), environment, free_port())
    node.start()
    try:
        node.wait_until_ready()
        yield node
    finally:
        node.stop(signal.SIGKILL)


@contextmanager
def scheduling(store: Store, number: int, **environment: str) -> Iterator[Node]:
    """Run a scheduler on a store for a while."""
    node = Node(store, ("scheduler",), environment, FIRST_UNUSED_PORT + number)
    node.start()
    try:
        yield node
    finally:
        node.stop(signal.SIGKILL)
