"""Hours of ordinary work leave nothing behind: memory, open files and the write-ahead log stay flat.

Six seconds notice a leak of files and a log that nobody empties; FAULT_SOAK_MINUTES=120 measures memory, which
grows for the first minutes of any Python process (arenas and caches fill) and is judged by its slope after these.
NumPy alone keeps seven freed blocks of every size below 1 KiB for each thread, 3.4 MiB once columns of all lengths
have been seen, which takes hours of ordinary work; so the first third of a run is busier than the rest.
"""

import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.faults.ingest import Book, Load, register_fleet, sender
from tests.faults.nodes import Node, Store, serving

MINUTES = float(os.environ.get("FAULT_SOAK_MINUTES", "0.1"))
EVERY_SECONDS = min(5.0, MINUTES * 4)
PAUSE_SECONDS = min(10.0, MINUTES * 2)
"""Between two batches: hours of ordinary work, not of a database that grows by millions of rows."""

WARM_UP_PAUSE_SECONDS = PAUSE_SECONDS / 10

LARGEST_LOG_BYTES = 64 * 2**20
MOST_MORE_FILES = 8
"""SQLite's and HTTP's pools open files as they are needed, up to a bound."""

LONGEST_WARM_UP = 1 / 3
"""Part of the run that is left out of the slope."""

SHORTEST_FOR_SLOPES = 60.0
READS = ("/v1/vehicles", "/v1/readings?limit=50", "/v1/due-lists/current", "/readyz")


@dataclass(frozen=True)
class Sample:
    """One look at the process."""

    hours: float
    resident_mib: float
    n_files: int
    log_bytes: int

    @classmethod
    def of(cls, node: Node, began: float) -> "Sample":
        assert node.process is not None
        process = Path(f"/proc/{node.process.pid}")
        lines = (process / "status").read_text().splitlines()
        resident = next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))
        logs = node.store.folder.glob("*-wal")
        return cls(
            hours=(time.monotonic() - began) / 3600,
            resident_mib=resident / 1024,
            n_files=len(list((process / "fd").iterdir())),
            log_bytes=sum(path.stat().st_size for path in logs),
        )


def _slope(samples: list[Sample], name: str) -> float:
    """Growth an hour, by least squares over what comes after the warm-up."""
    kept = samples[int(len(samples) * LONGEST_WARM_UP) :]
    hours = [one.hours for one in kept]
    return float(np.polyfit(hours, [float(getattr(one, name)) for one in kept], 1)[0])


def test_memory_files_and_log_stay_flat(store: Store, record_property: Any):
    _, secret = store.found()
    samples: list[Sample] = []
    book = Book()
    with serving(store, SCHEDULER="true") as node:
        register_fleet(node.url, secret)
        began = time.monotonic()
        with (
            Load(node.url, secret, book, seed=1, n_threads=1, pause_seconds=WARM_UP_PAUSE_SECONDS) as load,
            sender(node.url, secret) as client,
        ):
            while time.monotonic() - began < MINUTES * 60:
                for path in READS:
                    assert client.get(path).status_code < 500
                samples.append(Sample.of(node, began))
                if time.monotonic() - began > MINUTES * 60 * LONGEST_WARM_UP:
                    load.pause_seconds = PAUSE_SECONDS
                time.sleep(EVERY_SECONDS)
    assert len(samples) >= 3
    assert set(book.statuses) == {200}
    assert max(one.log_bytes for one in samples) < LARGEST_LOG_BYTES
    assert samples[-1].n_files <= samples[len(samples) // 3].n_files + MOST_MORE_FILES
    slope = _slope(samples, "resident_mib")
    record_property("minutes, readings", f"{MINUTES:g}, {book.n_acknowledged()}")
    record_property(
        "MiB resident at first and last", f"{samples[0].resident_mib:.0f} {samples[-1].resident_mib:.0f}"
    )
    record_property("slopes an hour: MiB, files", f"{slope:.1f} {_slope(samples, 'n_files'):.1f}")
    record_property("largest log, MiB", f"{max(one.log_bytes for one in samples) / 2**20:.1f}")
    if MINUTES >= SHORTEST_FOR_SLOPES:
        assert slope < 1.0
