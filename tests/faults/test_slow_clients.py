"""Clients that dawdle, send too much or send nonsense on the wire cost one connection, not the service."""

import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import numpy as np
import pytest

from service.store.schema import upgrade_schema
from service.store.session import Database
from tests.faults.ingest import sender
from tests.faults.nodes import Node, Store, serving

N_SLOW = 50
PATIENCE_SECONDS = 2.0
HALF_HEAD = b"POST /v1/vehicles HTTP/1.1\r\nHost: x\r\nContent-Le"
HALF_BODY = b"POST /v1/vehicles HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"


@pytest.fixture(scope="module")
def node(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Node]:
    """A real server that waits two seconds for what was begun; its token is kept on it."""
    folder = tmp_path_factory.mktemp("slow")
    database = Database(f"sqlite:///{folder / 'slow.sqlite'}")
    upgrade_schema(database)
    store = Store(database.engine.url.render_as_string(hide_password=False), database, folder)
    _, secret = store.found()
    with serving(store, RECEIVE_TIMEOUT_SECONDS=str(PATIENCE_SECONDS)) as node:
        node.environment["secret"] = secret
        yield node
    database.close()


def _open(node: Node, beginning: bytes) -> socket.socket:
    client = socket.create_connection(("127.0.0.1", node.port), timeout=30.0)
    client.sendall(beginning)
    return client


def _seconds_until_closed(client: socket.socket, began: float) -> float:
    with client:
        while client.recv(65_536):
            pass
    return time.monotonic() - began


@pytest.mark.parametrize("beginning", [HALF_HEAD, HALF_BODY], ids=["half a head", "half a body"])
def test_half_sent_requests_are_cut_off_while_others_are_answered(node: Node, beginning: bytes):
    began = time.monotonic()
    clients = [_open(node, beginning) for _ in range(N_SLOW)]
    waits = []
    while time.monotonic() - began < PATIENCE_SECONDS:
        asked = time.monotonic()
        assert httpx.get(f"{node.url}/healthz", timeout=10.0).status_code == 200
        waits.append(time.monotonic() - asked)
    seconds = [_seconds_until_closed(client, began) for client in clients]
    assert len(seconds) == N_SLOW
    assert max(seconds) < PATIENCE_SECONDS + 10.0
    assert float(np.quantile(waits, 0.99)) < 1.0


def test_a_body_that_trickles_is_cut_off_as_well(node: Node):
    began = time.monotonic()
    client = _open(node, HALF_BODY)
    stop = threading.Event()

    def trickle() -> None:
        while not stop.wait(0.3):
            try:
                client.sendall(b" ")
            except OSError:
                return

    thread = threading.Thread(target=trickle)
    thread.start()
    answer = client.recv(65_536)
    stop.set()
    thread.join(10.0)
    client.close()
    assert answer.startswith(b"HTTP/1.1 408")
    assert time.monotonic() - began < PATIENCE_SECONDS + 10.0


def test_a_connection_kept_open_may_wait_and_be_used_again(node: Node):
    with sender(node.url, node.environment["secret"]) as client:
        assert client.get("/v1/vehicles").status_code == 200
        time.sleep(PATIENCE_SECONDS + 0.5)
        assert client.get("/v1/vehicles").status_code == 200


def _peak_megabytes(node: Node) -> float:
    assert node.process is not None
    lines = Path(f"/proc/{node.process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def _pieces(size: int) -> Iterator[bytes]:
    yield b'{"vehicle": "'
    yield from (b"x" * 65_536 for _ in range(size // 65_536))


def test_bodies_over_the_limit_do_not_fill_the_memory(node: Node):
    before = _peak_megabytes(node)
    with sender(node.url, node.environment["secret"]) as client:
        for number in range(10):
            content = _pieces(10 * 2**20) if number % 2 else b"[" * 10 * 2**20
            try:
                answer = client.post(
                    "/v1/vehicles", content=content, headers={"Content-Type": "application/json"}
                )
            except httpx.TransportError:
                continue  # the server may close while we still send
            assert answer.status_code == 413
    assert _peak_megabytes(node) - before < 300.0


def _crowd(kind: str) -> tuple[str, bytes]:
    """A body well within the limit of bytes that holds as many things as it can."""
    names = b",".join(b'"k%d":1' % number for number in range(60_000))
    if kind == "names":
        return "/v1/vehicles", b"{" + b",".join(b'"k%d":1' % number for number in range(500_000)) + b"}"
    if kind == "frames":
        strange = b"{" + b",".join(b'"%x":1' % number for number in range(40)) + b"}"
        frames = b",".join([strange] * 9_000)
        return "/v1/machine-sources/src_1/frames", b'{"frames":[' + frames + b"]}"
    if kind == "few names":
        return "/v1/vehicles", b"{" + names + b"}"
    return "/v1/readings", b'{"readings":[' + b",".join([b"{}"] * 2_600_000) + b"]}"


@pytest.mark.parametrize("kind", ["names", "few names", "frames", "readings"])
def test_a_body_of_very_many_things_stops_nobody_and_does_not_fill_the_memory(node: Node, kind: str):
    path, content = _crowd(kind)
    before, waits, is_asking, is_over = _peak_megabytes(node), [], threading.Event(), threading.Event()

    def ask() -> None:
        with httpx.Client(base_url=node.url, timeout=60.0) as client:
            while not is_over.is_set():
                began = time.monotonic()
                assert client.get("/livez").status_code == 200
                waits.append(time.monotonic() - began)
                is_asking.set()

    asking = threading.Thread(target=ask)
    asking.start()
    is_asking.wait(30.0)
    try:
        with sender(node.url, node.environment["secret"]) as client:
            answer = client.post(path, content=content, headers={"Content-Type": "application/json"})
    finally:
        is_over.set()
        asking.join()
    assert answer.status_code in {413, 422}
    assert max(waits) < 1.0
    assert _peak_megabytes(node) - before < 150.0


@pytest.mark.parametrize(
    "words",
    [
        b"GARBAGE\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET /healthz HTTP/1.1\r\n\r\n",
        b"GET /healthz HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\n0\r\n\r\n",
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"POST /v1/readings HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01",
    ],
)
def test_nonsense_on_the_wire_is_refused(node: Node, words: bytes):
    with _open(node, words) as client:
        client.shutdown(socket.SHUT_WR)
        answer = client.recv(65_536)
    assert answer == b"" or answer.startswith((b"HTTP/1.1 4", b"HTTP/1.1 200"))
    assert b"uvicorn" not in answer.lower()
    if answer.startswith(b"HTTP/1.1 4"):
        assert b"application/problem+json" in answer
        assert b"nosniff" in answer
    assert httpx.get(f"{node.url}/healthz", timeout=10.0).status_code == 200


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/v1/readings", "application/json"),
        ("/v1/readings", "text/csv"),
        ("/v1/samples", "text/csv"),
        ("/v1/vehicles", "application/json"),
        ("/v1/inbound/src_1", "application/json"),
        ("/sign-in", "application/x-www-form-urlencoded"),
    ],
)
def test_a_sender_who_hangs_up_half_way_is_no_error_of_ours(node: Node, path: str, kind: str):
    """A phone that leaves the network: one line of the log, nothing for whoever is on call."""
    n_before = len(node.log.read_text().splitlines())
    words = (
        f"POST {path} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {node.environment['secret']}\r\n"
        f"Content-Type: {kind}\r\nContent-Length: 1000\r\n\r\n"
    )
    with _open(node, words.encode() + b"a"):
        time.sleep(0.2)
    for _ in range(100):
        if '"request"' in "".join(node.log.read_text().splitlines()[n_before:]):
            break
        time.sleep(0.05)
    time.sleep(0.1)
    lines = [json.loads(line) for line in node.log.read_text().splitlines()[n_before:]]
    assert [line["event"] for line in lines if line["event"] == "request" or line["level"] == "error"] == [
        "request"
    ]


def test_nonsense_after_an_answer_was_given_ends_the_connection_quietly(node: Node):
    words = b"POST /v1/vehicles HTTP/1.1\r\nHost: x\r\nContent-Encoding: gzip\r\nTransfer-Encoding: chunked\r\n\r\n"
    with _open(node, words) as client:
        answer = client.recv(65_536)
        client.sendall(b"this is no chunk\r\n")
        while piece := client.recv(65_536):
            answer += piece
    assert answer.startswith(b"HTTP/1.1 415")
    assert b"HTTP/1.1 400" not in answer
    assert "Traceback" not in node.log.read_text()


def test_one_request_is_one_log_line_whatever_it_carries(node: Node):
    """OWASP ASVS 5.0, 16.4.1: no line break, no terminal code and no secret reaches the log."""
    headers = {"User-Agent": "a\tb \x1b[31m", "Authorization": f"Bearer {node.environment['secret']}"}
    path = "/v1/vehicles/%0d%0a%7b%22event%22:%22forged%22%7d%1b%5b31m"
    assert httpx.get(node.url + path, headers=headers).status_code in {404, 422}
    time.sleep(0.2)
    lines = node.log.read_text().splitlines()
    assert len([line for line in lines if "forged" in line]) == 1
    assert all(isinstance(json.loads(line), dict) for line in lines)
    assert node.environment["secret"] not in node.log.read_text()
    assert "\x1b" not in node.log.read_text()


def test_a_readiness_probe_is_one_log_line(node: Node):
    """It is asked every few seconds, so whatever it says besides would be most of the log."""
    time.sleep(0.2)
    n_before = len(node.log.read_text().splitlines())
    assert httpx.get(f"{node.url}/readyz", timeout=10.0).status_code == 200
    time.sleep(0.2)
    (line,) = node.log.read_text().splitlines()[n_before:]
    assert json.loads(line)["path"] == "/readyz"
