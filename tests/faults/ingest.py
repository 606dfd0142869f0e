"""Senders of readings that keep book: what was acknowledged, and what nobody knows."""

import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count

import httpx
import numpy as np

from tests.faults.nodes import Store

FIRST = datetime(2024, 1, 1, tzinfo=UTC)
N_VEHICLES = 120
SMALLEST, LARGEST = 100, 1_000
RETRY_SECONDS = 0.5
"""A sender keeps what was not acknowledged and sends it again, as devices do."""


def register_fleet(url: str, secret: str, n_vehicles: int = N_VEHICLES) -> None:
    """Register invented vehicles."""
    with sender(url, secret) as client:
        for number in range(n_vehicles):
            body = {"vehicle": f"V{number:03d}", "class": "van"}
            answer = client.post("/v1/vehicles", json=body)
            assert answer.status_code == 201, answer.text


def sender(url: str, secret: str, timeout: float = 60.0) -> httpx.Client:
    """A client with the token of an organisation."""
    return httpx.Client(base_url=url, headers={"Authorization": f"Bearer {secret}"}, timeout=timeout)


@dataclass
class Batch:
    """Rows under one key, and what is known of them: True stored, None unknown."""

    key: str
    rows: list[dict[str, object]]
    is_csv: bool = False
    is_stored: bool | None = None

    @property
    def references(self) -> set[str]:
        return {str(row["reference"]) for row in self.rows}

    def send(self, client: httpx.Client) -> httpx.Response:
        headers = {"Idempotency-Key": self.key}
        if not self.is_csv:
            return client.post("/v1/readings", json={"readings": self.rows}, headers=headers)
        names = list(self.rows[0])
        lines = [",".join(names), *(",".join(str(row[name]) for name in names) for row in self.rows)]
        headers["Content-Type"] = "text/csv"
        return client.post("/v1/readings", content="\n".join(lines) + "\n", headers=headers)


@dataclass
class Book:
    """What the senders did; the statuses that were seen."""

    batches: list[Batch] = field(default_factory=list)
    statuses: dict[int, int] = field(default_factory=dict)
    numbers: "count[int]" = field(default_factory=count)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def new_batch(
        self, rng: np.random.Generator, *, n_rows: int | None = None, is_csv: bool = False
    ) -> Batch:
        """Write the next batch: later times, higher odometers, so that every row is sound."""
        with self.lock:
            number = next(self.numbers)
        size = int(rng.integers(SMALLEST, LARGEST + 1)) if n_rows is None else n_rows
        vehicles = rng.choice(N_VEHICLES, size=10, replace=False)
        rows: list[dict[str, object]] = [
            {
                "vehicle": f"V{vehicles[place % 10]:03d}",
                "taken_at": (FIRST + timedelta(hours=number, seconds=place)).isoformat(),
                "odometer": round(10_000 + 10 * number + place / 100, 2),
                "reference": f"b{number}-{place}",
            }
            for place in range(size)
        ]
        batch = Batch(f"key-{number}", rows, is_csv)
        with self.lock:
            self.batches.append(batch)
        return batch

    def deliver(self, client: httpx.Client, batch: Batch) -> None:
        """Send a batch once and note what is known afterwards."""
        try:
            answer = batch.send(client)
        except httpx.TransportError:
            return
        with self.lock:
            self.statuses[answer.status_code] = self.statuses.get(answer.status_code, 0) + 1
        if answer.status_code == 200:
            batch.is_stored = True

    def unknown(self) -> list[Batch]:
        return [batch for batch in self.batches if batch.is_stored is None]

    def n_acknowledged(self) -> int:
        return sum(len(batch.rows) for batch in self.batches if batch.is_stored)


@dataclass
class Load:
    """Threads that send until told to stop, or until the server is gone."""

    url: str
    secret: str
    book: Book
    seed: int
    n_threads: int = 6
    pause_seconds: float = 0.0
    """Between two batches of one thread."""

    stop: threading.Event = field(default_factory=threading.Event)
    threads: list[threading.Thread] = field(default_factory=list)

    def __enter__(self) -> "Load":
        for number in range(self.n_threads):
            thread = threading.Thread(target=self._send, args=(number,))
            thread.start()
            self.threads.append(thread)
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        for thread in self.threads:
            thread.join(120.0)
            assert not thread.is_alive()

    def _send(self, number: int) -> None:
        rng = np.random.default_rng([self.seed, number])
        is_csv_thread = number == self.n_threads - 1
        with sender(self.url, self.secret) as client:
            while not self.stop.is_set():
                is_csv = is_csv_thread and rng.random() < 0.5
                n_rows = 5_400 if is_csv and rng.random() < 0.3 else None
                batch = self.book.new_batch(rng, n_rows=n_rows, is_csv=is_csv)
                self.book.deliver(client, batch)
                while batch.is_stored is None and not self.stop.wait(RETRY_SECONDS):
                    self.book.deliver(client, batch)
                self.stop.wait(self.pause_seconds)


def stored_references(store: Store, organisation_id: int) -> list[str]:
    """References of every stored reading, doubles included."""
    rows = store.execute("SELECT reference FROM reading WHERE organisation_id = :key", key=organisation_id)
    return [str(reference) for (reference,) in rows]


def differences(book: Book, stored: Sequence[str], chunk: int) -> dict[str, int]:
    """Count what must not be: lost, doubled, torn and unheard-of readings."""
    present = set(stored)
    known = {reference for batch in book.batches for reference in batch.references}
    lost = sum(len(batch.references - present) for batch in book.batches if batch.is_stored)
    return {
        "lost": lost,
        "doubled": len(stored) - len(present),
        "torn": n_torn(book.unknown(), present, chunk),
        "phantom": len(present - known),
    }


def n_torn(batches: Iterable[Batch], present: set[str], chunk: int) -> int:
    """Batches of which a part is there; a CSV file is as many transactions as it has pieces of `chunk` rows."""
    torn = 0
    for batch in batches:
        pieces = range(chunk, len(batch.rows), chunk) if batch.is_csv else ()
        torn += len(batch.references & present) not in {0, len(batch.rows), *pieces}
    return torn
