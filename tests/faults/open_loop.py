"""Calls at a constant rate, whatever becomes of the ones before: latency counts from the moment a call was due.

A closed loop waits for each answer and so hides every stall; see the notes of wrk2 on coordinated omission.
"""

import asyncio
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

Request = Callable[[int], bytes]
"""Makes the bytes of a call from its number."""

GIVE_UP_SECONDS = 20.0
NO_ANSWER = 0


@dataclass
class Load:
    """What became of the calls: latencies in seconds, statuses, and how late the caller itself was."""

    latencies: list[float] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    lags: list[float] = field(default_factory=list)

    def quantile(self, share: float) -> float:
        """Latency that so many of the calls were faster than."""
        ordered = sorted(self.latencies)
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))]

    def line(self, name: str, against: "Load | None" = None) -> str:
        """Figures in one line, as ratios to another load where one is given."""
        parts = []
        for share in (0.5, 0.95, 0.99):
            ratio = "" if against is None else f" ({self.quantile(share) / against.quantile(share):.1f}x)"
            parts.append(f"p{share * 100:.0f} {self.quantile(share) * 1000:.1f} ms{ratio}")
        lag = sorted(self.lags)[int(0.99 * len(self.lags))] * 1000
        return f"{name}: {len(self.latencies)} calls, {', '.join(parts)}, {dict(self.statuses)}, lag p99 {lag:.0f} ms"


Connection = tuple[asyncio.StreamReader, asyncio.StreamWriter]


async def _send(port: int, idle: list[Connection], content: bytes) -> int:
    """Make one call on a connection that is free, or on a new one; gives the status."""
    while idle:
        try:
            return await _exchange(idle.pop(), idle, content)
        except (OSError, asyncio.IncompleteReadError):
            continue  # the server had closed it, idle as it was
    return await _exchange(await asyncio.open_connection("127.0.0.1", port), idle, content)


async def _exchange(connection: Connection, idle: list[Connection], content: bytes) -> int:
    reader, writer = connection
    is_open = False
    try:
        writer.write(content)
        head = await reader.readuntil(b"\r\n\r\n")
        lines = head.lower().split(b"\r\n")
        length = next((int(line.split(b":")[1]) for line in lines if line.startswith(b"content-length:")), 0)
        await reader.readexactly(length)
        is_open = b"connection: close" not in lines
        return int(head.split(b" ", 2)[1])
    finally:
        if is_open:
            idle.append(connection)
        else:
            writer.close()


async def run_load(port: int, per_second: float, seconds: float, request: Request, first: int = 0) -> Load:
    """Call at a constant rate for a while."""
    load = Load()
    idle: list[Connection] = []

    async def call(number: int, due: float) -> None:
        load.lags.append(time.perf_counter() - due)
        try:
            status = await asyncio.wait_for(_send(port, idle, request(number)), GIVE_UP_SECONDS)
        except (TimeoutError, OSError, asyncio.IncompleteReadError):
            status = NO_ANSWER
        load.statuses[status] += 1
        load.latencies.append(time.perf_counter() - due)

    began = time.perf_counter()
    tasks = []
    for number in range(int(per_second * seconds)):
        due = began + number / per_second
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        tasks.append(asyncio.create_task(call(first + number, due)))
    await asyncio.gather(*tasks)
    for _, writer in idle:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()
    return load


def http(method: str, path: str, secret: str | None = None, body: bytes = b"") -> bytes:
    """Bytes of one call."""
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", f"Content-Length: {len(body)}"]
    lines += [f"Authorization: Bearer {secret}"] if secret else []
    lines += ["Content-Type: application/json"] if body else []
    return "\r\n".join([*lines, "", ""]).encode() + body
