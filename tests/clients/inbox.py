"""A real mail server on this machine that keeps what it is given."""

import socket
from contextlib import contextmanager

from aiosmtpd.controller import Controller


class Inbox:
    """What a mail server was given; it refuses one address."""

    def __init__(self):
        self.envelopes = []

    async def handle_RCPT(self, _server, _session, envelope, address, _options):  # noqa: N802 - the server calls it so
        if address.startswith("refused@"):
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server, _session, envelope):  # noqa: N802 - likewise
        self.envelopes.append(envelope)
        return "250 OK"


@contextmanager
def receiving():
    """Let a mail server listen on a free port of the loopback."""
    box = Inbox()
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    box.url = f"smtp://127.0.0.1:{port}"
    yield box
    controller.stop()
