"""Somebody else holds the database: who waits is served once it is free or told when to come back, and no longer."""

import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager

import httpx
import numpy as np
import pytest
from sqlalchemy import text

from service.api.turns import LONGEST_WAIT_SECONDS
from tests.faults.ingest import sender
from tests.faults.nodes import Node, Store, serving

TIMEOUT_SECONDS = 2
SHORT_SECONDS = 0.7
N_CALLS = 12
SETTINGS = {"DATABASE_TIMEOUT_SECONDS": str(TIMEOUT_SECONDS), "DATABASE_POOL_SIZE": "4"}
LONGEST_SECONDS = LONGEST_WAIT_SECONDS + TIMEOUT_SECONDS + 1
"""A wait for a place, a wait for the lock, and the answer itself."""

WRITERS_OUT = "LOCK TABLE vehicle IN EXCLUSIVE MODE"
EVERYBODY_OUT = "LOCK TABLE vehicle IN ACCESS EXCLUSIVE MODE"


@contextmanager
def held(store: Store, lock: str = WRITERS_OUT) -> Iterator[None]:
    """Keep others out, as a long job of another program would; on SQLite only writers can be kept out."""
    with store.database.engine.connect().execution_options(sqlite_begin="IMMEDIATE") as connection:
        connection.execute(text("SELECT 1" if store.is_sqlite else lock))
        yield
        connection.rollback()


def _register(node: Node, secret: str, number: int) -> httpx.Response:
    with sender(node.url, secret) as client:
        return client.post("/v1/vehicles", json={"vehicle": f"HELD-{number}", "class": "van"})


def _list(node: Node, secret: str, _number: int) -> httpx.Response:
    with sender(node.url, secret) as client:
        return client.get("/v1/vehicles")


def _timed(
    call: Callable[[Node, str, int], httpx.Response], node: Node, secret: str, number: int
) -> tuple[httpx.Response, float]:
    began = time.monotonic()
    return call(node, secret, number), time.monotonic() - began


def _health_while(node: Node, calls: list[Future[tuple[httpx.Response, float]]]) -> list[float]:
    """How long the process takes to say that it is alive, until all the calls are answered."""
    seconds = []
    with httpx.Client(base_url=node.url, timeout=10.0) as client:
        while not all(call.done() for call in calls):
            began = time.monotonic()
            assert client.get("/healthz").status_code == 200
            seconds.append(time.monotonic() - began)
            time.sleep(0.02)
    return seconds


def _all_are_refused_in_time(
    call: Callable[[Node, str, int], httpx.Response], node: Node, secret: str
) -> None:
    with ThreadPoolExecutor(N_CALLS) as pool:
        calls = [pool.submit(_timed, call, node, secret, number) for number in range(N_CALLS)]
        health = _health_while(node, calls)
    for answer, seconds in (call.result() for call in calls):
        assert answer.status_code == 503
        assert answer.headers["content-type"] == "application/problem+json"
        assert int(answer.headers["Retry-After"]) > 0
        assert seconds < LONGEST_SECONDS
    assert np.quantile(health, 0.99) < 1.0


@pytest.mark.slow
def test_who_waits_for_a_lock_is_served_once_it_is_free(store: Store):
    _, secret = store.found()
    with serving(store, **SETTINGS) as node, ThreadPoolExecutor(4) as pool:
        with held(store):
            calls = [pool.submit(_timed, _register, node, secret, number) for number in range(4)]
            time.sleep(SHORT_SECONDS)
            assert not any(call.done() for call in calls), "the lock keeps nobody out"
        assert [call.result()[0].status_code for call in calls] == [201] * 4


@pytest.mark.slow
def test_a_lock_that_is_held_too_long_refuses_writers_and_answers_readers(store: Store):
    _, secret = store.found()
    with serving(store, **SETTINGS) as node:
        assert _register(node, secret, N_CALLS).status_code == 201
        with held(store), ThreadPoolExecutor(1) as pool:
            reads = pool.submit(lambda: [_list(node, secret, 0) for _ in range(5)])
            _all_are_refused_in_time(_register, node, secret)
            assert [answer.status_code for answer in reads.result()] == [200] * 5
        assert _register(node, secret, 0).status_code == 201, "what was refused was not stored"
        assert store.execute("SELECT count(*) FROM vehicle") == [(2,)]
        assert secret not in node.log.read_text(), "a failure is logged without what was in its variables"


@pytest.mark.slow
def test_who_gets_no_place_hears_of_it_within_five_seconds(store: Store):
    _, secret = store.found()
    with (
        serving(store, **SETTINGS | {"DATABASE_TIMEOUT_SECONDS": "6"}) as node,
        held(store),
        ThreadPoolExecutor(N_CALLS) as pool,
    ):
        calls = [pool.submit(_timed, _register, node, secret, number) for number in range(N_CALLS)]
        answers = [call.result() for call in calls]
    assert {answer.status_code for answer, _ in answers} == {503}
    early = [seconds for _, seconds in answers if seconds < 5.0]
    late = [seconds for _, seconds in answers if seconds >= 6.0]
    assert len(early) + len(late) == N_CALLS
    assert 1 <= len(late) <= 2, "only who had a place waits for the lock"


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_when_every_connection_waits_the_process_is_well_and_says_when_to_come_back(store: Store):
    """Not on SQLite, where readers wait for nobody."""
    _, secret = store.found()
    with serving(store, **SETTINGS) as node:
        with held(store, EVERYBODY_OUT):
            _all_are_refused_in_time(_list, node, secret)
        assert _list(node, secret, 0).status_code == 200
