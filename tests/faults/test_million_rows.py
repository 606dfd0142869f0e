"""A very long CSV file: streamed while others write, stored once however often it is sent, whole again after a kill.

`FAULT_ROWS=1000000` asks for the million that the bar names and holds it to the bar's seconds.
"""

import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.usecases.readings.import_readings import CHUNK_ROWS
from tests.benchmarks.test_ingest_speed import add_vehicles
from tests.faults.ingest import sender
from tests.faults.nodes import Node, Store, serving

N_ROWS = int(os.environ.get("FAULT_ROWS", "60000"))
N_VEHICLES = 1_000
FIRST = datetime(2023, 1, 1, 6, 0, tzinfo=UTC)
MISTAKE_EVERY = 997
SECONDS_BETWEEN_POSTS = 0.5
MOST_CHUNKS_WAITED = 4
"""A fair queue lets a post in after the piece of the file that is being stored, whatever the machine's speed."""

MILLION = 1_000_000
MOST_SECONDS = 60.0
MOST_GROWTH_MIB = 100.0
MOST_WAIT_SECONDS = 1.0
END_STATE = """
    SELECT vehicle.reference, reading.taken_at, odometer, used_km, outcome, reason, reading.reference
    FROM reading JOIN vehicle ON vehicle.id = reading.vehicle_id
    WHERE reading.organisation_id = :key ORDER BY 1, 2
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Invented readings, hour by hour through the whole fleet, now and then with a digit too many."""
    path = tmp_path_factory.mktemp("long") / "readings.csv"
    with path.open("w", encoding="utf-8") as lines:
        lines.write("vehicle,taken_at,odometer,source,reference\n")
        for number in range(N_ROWS):
            lap, vehicle = divmod(number, N_VEHICLES)
            at = (FIRST + timedelta(hours=lap, seconds=vehicle)).isoformat()
            km = 10_000 + vehicle + 2.5 * lap
            shown = km * 10 if number % MISTAKE_EVERY == MISTAKE_EVERY - 1 else km
            lines.write(f"VAN-{vehicle},{at},{shown},file,r{number}\n")
    return path


def pieces(path: Path) -> Iterator[bytes]:
    """The file as it is streamed."""
    with path.open("rb") as content:
        while piece := content.read(65_536):
            yield piece


def send(node: Node, secret: str, path: Path) -> dict[str, Any]:
    """Send the file; gives the counts of the answer."""
    with sender(node.url, secret, timeout=600.0) as client:
        answer = client.post("/v1/readings", content=pieces(path), headers={"Content-Type": "text/csv"})
    assert answer.status_code == 200, answer.text[:500]
    body: dict[str, Any] = answer.json()
    assert len(body.pop("results")) == N_ROWS
    return body


def peak_mib(node: Node) -> float:
    """Most memory that a server's process has held so far."""
    assert node.process is not None
    status = Path(f"/proc/{node.process.pid}/status").read_text()
    return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))) / 1024.0


@dataclass
class OtherWriter:
    """Posts one reading after the other at a constant rate; latency counts from the moment a post was due."""

    node: Node
    secret: str
    latencies: list[float] = field(default_factory=list)
    statuses: set[int] = field(default_factory=set)
    stop: threading.Event = field(default_factory=threading.Event)

    def __call__(self) -> None:
        with sender(self.node.url, self.secret) as client:
            due, number = time.monotonic(), 0
            while not self.stop.is_set():
                time.sleep(max(0.0, due - time.monotonic()))
                at = (FIRST + timedelta(minutes=number)).isoformat()
                row = {"vehicle": "VAN-0", "taken_at": at, "odometer": 5_000 + 0.1 * number}
                self.statuses.add(client.post("/v1/readings", json={"readings": [row]}).status_code)
                self.latencies.append(time.monotonic() - due)
                due, number = due + SECONDS_BETWEEN_POSTS, number + 1

    def quantile(self, share: float) -> float:
        """Latency that so many of the posts were faster than."""
        return sorted(self.latencies)[int(share * (len(self.latencies) - 1))]


@contextmanager
def writing_meanwhile(node: Node, secret: str) -> Iterator[OtherWriter]:
    """Let another organisation write while the block runs."""
    other = OtherWriter(node, secret)
    thread = threading.Thread(target=other)
    thread.start()
    try:
        yield other
    finally:
        other.stop.set()
        thread.join(60.0)


def fleet(store: Store, name: str) -> tuple[int, str]:
    """An organisation with vehicles."""
    key, secret = store.found(name)
    add_vehicles(store.database, key, N_VEHICLES)
    return key, secret


def kill_while_sending(node: Node, store: Store, key: int, secret: str, path: Path) -> int:
    """Kill the server once a part of the file is stored; gives how many rows that was."""

    def try_to_send() -> None:
        with pytest.raises((httpx.TransportError, AssertionError)):
            send(node, secret, path)

    thread = threading.Thread(target=try_to_send)
    thread.start()
    count = "SELECT count(*) FROM reading WHERE organisation_id = :key"
    deadline = time.monotonic() + 120.0
    while store.execute(count, key=key) == [(0,)] and time.monotonic() < deadline:
        time.sleep(0.01)
    node.stop(signal.SIGKILL)
    thread.join(60.0)
    ((stored,),) = store.execute(count, key=key)
    return int(str(stored))


@pytest.mark.slow
def test_a_very_long_file_is_streamed_and_may_be_sent_again(store: Store, file: Path, record_property: Any):
    (key, secret), (torn_key, torn_secret) = fleet(store, "Long File"), fleet(store, "Torn File")
    _, other_secret = fleet(store, "Other Writer")
    with serving(store) as node:
        before = peak_mib(node)
        with writing_meanwhile(node, other_secret) as other:
            began = time.monotonic()
            first = send(node, secret, file)
            seconds = time.monotonic() - began
        growth = peak_mib(node) - before
        again = send(node, secret, file)
        n_torn = kill_while_sending(node, store, torn_key, torn_secret, file)
        node.start()
        node.wait_until_ready()
        after_kill = send(node, torn_secret, file)
    assert first["accepted"] + first["held"] == N_ROWS
    assert first["held"] == N_ROWS // MISTAKE_EVERY
    assert again == {"accepted": 0, "held": 0, "duplicate": N_ROWS, "rejected": 0}
    assert 0 < n_torn < N_ROWS
    assert after_kill["duplicate"] == n_torn
    assert store.execute(END_STATE, key=torn_key) == store.execute(END_STATE, key=key)
    assert other.statuses == {200}
    record_property("rows and seconds", f"{N_ROWS} {seconds:.1f}")
    record_property("memory grew by MiB", round(growth))
    record_property(
        "posts meanwhile, p50 and p99 in ms",
        f"{1e3 * other.quantile(0.5):.0f} {1e3 * other.quantile(0.99):.0f}",
    )
    assert growth < MOST_GROWTH_MIB
    assert other.quantile(0.99) < MOST_CHUNKS_WAITED * seconds * CHUNK_ROWS / N_ROWS
    if N_ROWS >= MILLION:
        assert seconds < MOST_SECONDS
        assert other.quantile(0.99) < MOST_WAIT_SECONDS
