"""A connection that is let in as the server stops ends at once, however busy its client would keep it."""

import asyncio

import pytest
import uvicorn
from uvicorn.server import ServerState

from service.api.connections import protocol_with_patience

REQUEST = b"GET /livez HTTP/1.1\r\nHost: here\r\n\r\n"


async def answer(scope, receive, send):
    await send({"type": "http.response.start", "status": 204, "headers": []})
    await send({"type": "http.response.body", "body": b""})


async def first_answer(*, is_stopping: bool) -> bytes:
    """What a client gets that connects and asks."""
    protocol = protocol_with_patience(5.0, lambda: is_stopping)
    config, state = uvicorn.Config(answer, http=protocol, lifespan="off"), ServerState()
    config.load()
    loop = asyncio.get_running_loop()
    server = await loop.create_server(
        lambda: protocol(config=config, server_state=state, app_state={}), "127.0.0.1", 0
    )
    async with server:
        reader, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
        try:
            writer.write(REQUEST)
            return await asyncio.wait_for(reader.read(20), timeout=5.0)
        except ConnectionResetError:
            return b""
        finally:
            writer.close()


@pytest.mark.parametrize(("is_stopping", "beginning"), [(False, b"HTTP/1.1 204 "), (True, b"")])
def test_whoever_comes_as_the_server_stops_is_not_let_in(is_stopping, beginning):
    assert asyncio.run(first_answer(is_stopping=is_stopping))[: len(beginning) or None] == beginning
