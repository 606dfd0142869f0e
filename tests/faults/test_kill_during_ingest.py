"""A 2xx means that the data are on disk: the server is killed again and again while readings pour in.

What must hold is the bar that Jepsen set for stores in general (jepsen.io): of every call it is known whether it was
acknowledged, refused or neither, and what is stored afterwards is judged against that.
"""

import os
import signal
import time
from typing import Any

import numpy as np
import pytest

from service.usecases.readings.import_readings import CHUNK_ROWS
from tests.faults.ingest import Book, Load, differences, register_fleet, sender, stored_references
from tests.faults.nodes import Node, Store, serving

N_KILLS = int(os.environ.get("FAULT_KILLS", "4"))
NOTHING_WRONG = {"lost": 0, "doubled": 0, "torn": 0, "phantom": 0}


def _kill_under_load(
    node: Node, secret: str, book: Book, rng: np.random.Generator, round_number: int
) -> None:
    n_before = book.n_acknowledged()
    with Load(node.url, secret, book, seed=round_number) as load:
        deadline = time.monotonic() + 60.0
        while book.n_acknowledged() == n_before and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(float(rng.uniform(0.0, 1.5)))
        node.stop(signal.SIGKILL)
        load.stop.set()


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_doubled_or_torn_by_kills(store: Store, record_property: Any):
    rng = np.random.default_rng(20260504)
    organisation_id, secret = store.found()
    book = Book()
    restarts: list[float] = []
    with serving(store) as node:
        register_fleet(node.url, secret)
        for round_number in range(N_KILLS):
            _kill_under_load(node, secret, book, rng, round_number)
            assert store.is_sound()
            found = differences(book, stored_references(store, organisation_id), CHUNK_ROWS)
            assert found == NOTHING_WRONG, f"after kill {round_number + 1}"
            node.start()
            restarts.append(node.wait_until_ready())
        n_unknown = len(book.unknown())
        with sender(node.url, secret) as client:
            for batch in book.unknown():
                book.deliver(client, batch)
        assert book.unknown() == []
    stored = stored_references(store, organisation_id)
    assert differences(book, stored, CHUNK_ROWS) == NOTHING_WRONG
    assert len(stored) == sum(len(batch.rows) for batch in book.batches)
    assert set(book.statuses) == {200}, book.statuses
    record_property("kills", N_KILLS)
    record_property("readings acknowledged", len(stored))
    record_property("batches unknown and sent again", n_unknown)
    record_property(
        "seconds to restart, median and longest", f"{np.median(restarts):.1f} {max(restarts):.1f}"
    )


def test_the_order_to_stop_lets_requests_under_way_end(store: Store):
    organisation_id, secret = store.found()
    book = Book()
    with serving(store) as node:
        register_fleet(node.url, secret)
        with Load(node.url, secret, book, seed=1) as load:
            deadline = time.monotonic() + 60.0
            while book.n_acknowledged() == 0 and time.monotonic() < deadline:
                time.sleep(0.01)
            began = time.monotonic()
            node.stop(signal.SIGTERM)
            seconds = time.monotonic() - began
            load.stop.set()
    assert seconds < 10.0
    assert {status for status in book.statuses if status >= 500} <= {503}
    assert book.statuses[200] > 0
    found = differences(book, stored_references(store, organisation_id), CHUNK_ROWS)
    assert found == NOTHING_WRONG
