"""Connections on which nothing comes of what was begun: half a request line is cut off, what is no HTTP is refused."""

import asyncio
from collections.abc import Callable
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.api.guard import SECURITY_HEADERS
from service.api.problems import MEDIA_TYPE, Problem


class PatientProtocol(H11Protocol):
    """The server's own protocol, with an end to its patience.

    By itself it waits for ever for the head of a request. The guard times the body, because only an application can
    answer there; here there is nobody to answer yet, so the connection is closed.
    """

    patience_seconds = 30.0
    is_stopping: Callable[[], bool] = staticmethod(lambda: False)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self._end_of_patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head; close what was let in as the server stopped.

        The server tells the connections that it knows to end. One that arrives a moment later would not hear of it,
        and a client that keeps it busy would be cut off in the middle of a request when the time to stop is over.
        """
        super().connection_made(transport)
        if self.is_stopping():
            self.shutdown()
        else:
            self._watch_head()

    def data_received(self, data: bytes) -> None:
        """Take what came; as long as a head is begun and not whole, its time runs."""
        super().data_received(data)
        self._watch_head()

    def on_response_complete(self) -> None:
        """Leave the connection to the server's own timeout of idle ones, or time a head that came early."""
        super().on_response_complete()
        self._watch_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the watch."""
        self._stop_watch()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP as everything else is refused; where an answer is under way, only end."""
        if self.conn.our_state in {h11.IDLE, h11.SEND_RESPONSE}:
            problem = Problem(type="about:blank", title="Bad Request", status=400, detail=msg)
            body = problem.model_dump_json(exclude_none=True).encode()
            headers = [
                (b"content-type", MEDIA_TYPE.encode()),
                (b"content-length", str(len(body)).encode()),
                (b"connection", b"close"),
                *SECURITY_HEADERS,
            ]
            answer = h11.Response(status_code=400, headers=headers, reason=b"Bad Request")
            for event in (answer, h11.Data(data=body), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _watch_head(self) -> None:
        is_waiting = self.conn.their_state is h11.IDLE and not self.transport.is_closing()
        if not is_waiting or self.timeout_keep_alive_task is not None:
            self._stop_watch()
        elif self._end_of_patience is None:
            self._end_of_patience = self.loop.call_later(self.patience_seconds, self.transport.close)

    def _stop_watch(self) -> None:
        if self._end_of_patience is not None:
            self._end_of_patience.cancel()
            self._end_of_patience = None


def protocol_with_patience(seconds: float, is_stopping: Callable[[], bool]) -> type[PatientProtocol]:
    """Make the protocol class that the server is given."""
    members = {"patience_seconds": seconds, "is_stopping": staticmethod(is_stopping)}
    return type("PatientProtocol", (PatientProtocol,), members)
