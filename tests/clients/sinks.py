"""Real servers on this machine that receive what is sent, each in its own thread."""

import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Received:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Sink:
    """A receiver of webhooks, or a portal; `answer` decides what each call gets."""

    port: int = 0
    calls: list[Received] = field(default_factory=list)
    answer: Callable[["Sink", BaseHTTPRequestHandler], None] = field(
        default=lambda _sink, handler: reply(handler, 200)
    )
    n_connections: int = 0
    is_released: threading.Event = field(default_factory=threading.Event)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hook"


def reply(handler: BaseHTTPRequestHandler, status: int, body: bytes = b"ok", **headers: str) -> None:
    handler.send_response(status)
    for name, value in {"Content-Length": str(len(body)), **headers}.items():
        handler.send_header(name, value)
    handler.end_headers()
    handler.wfile.write(body)


def statuses(*codes: int) -> Callable[[Sink, BaseHTTPRequestHandler], None]:
    """Answer with these codes one after the other, the last one for ever."""
    return lambda sink, handler: reply(handler, codes[min(len(sink.calls), len(codes)) - 1])


def hang(sink: Sink, handler: BaseHTTPRequestHandler) -> None:
    """Trickle a header that never ends, until the test has seen enough."""
    handler.close_connection = True
    try:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        while not sink.is_released.wait(0.05):
            handler.wfile.write(b"a")
            handler.wfile.flush()
    except OSError:
        pass


def flood(_sink: Sink, handler: BaseHTTPRequestHandler) -> None:
    """Promise a gigabyte, and send until nobody listens."""
    handler.send_response(200)
    handler.send_header("Content-Length", str(10**9))
    handler.end_headers()
    handler.close_connection = True
    try:
        for _ in range(10**9 // 65536):
            handler.wfile.write(bytes(65536))
    except OSError:
        pass


@contextmanager
def listening(sink: Sink, tls: ssl.SSLContext | None = None) -> Iterator[Sink]:
    """Let a sink listen on a free port of the loopback."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            sink.calls.append(Received(self.path, dict(self.headers.items()), body))
            sink.answer(sink, self)

        def do_GET(self) -> None:
            sink.calls.append(Received(self.path, dict(self.headers.items()), b""))
            sink.answer(sink, self)

        def setup(self) -> None:
            sink.n_connections += 1
            super().setup()

        def log_message(self, *_arguments: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    server.handle_error = lambda *_arguments: None  # type: ignore[method-assign]
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    sink.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield sink
    finally:
        sink.is_released.set()
        server.shutdown()
        server.server_close()
        thread.join()
