"""Call a webhook by the open Standard Webhooks scheme; of the answer at most 64 KiB are read and none kept."""

import ssl
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import httpx
from standardwebhooks import Webhook

from service.clients.exchanges import Exchange
from service.clients.targets import TargetRules
from service.clock import Clock
from service.errors import InvalidInputError, ReceiverGoneError, UpstreamError

TIMEOUT_SECONDS: Final = 15.0
"""For the whole call, whatever trickles in; the scheme asks for 15 to 30 seconds."""

MAX_ANSWER_BYTES: Final = 64 * 1024
MAX_BODY_BYTES: Final = 20 * 1024
"""The scheme's advice: send a summary and a link."""

GONE: Final = 410


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """One message for one receiver; `message_id` stays the same over all tries."""

    target: str
    message_id: str
    body: str
    secrets: Sequence[str]


@dataclass(frozen=True, slots=True)
class WebhookSender:
    """Sends calls; `clock` is the machine's own, because receivers compare the time of signing with theirs."""

    clock: Clock
    rules: TargetRules
    timeout_seconds: float = TIMEOUT_SECONDS
    trust: ssl.SSLContext = field(default_factory=httpx.create_ssl_context)

    def send(self, call: Call) -> None:
        """Deliver one call.

        Raises
        ------
        ReceiverGoneError
            If the receiver answers 410.
        UpstreamError
            If it answers anything but 2xx, cannot be reached, or must not be reached any more.
        """
        if len(call.body.encode()) > MAX_BODY_BYTES:
            raise UpstreamError("The message is larger than a webhook may be.")
        try:
            route = self.rules.find_route(call.target)
        except InvalidInputError as error:
            raise UpstreamError(error.detail) from error
        exchange = Exchange(
            timeout_seconds=self.timeout_seconds, max_answer_bytes=MAX_ANSWER_BYTES, trust=self.trust
        )
        status = exchange.call("POST", route, self._signed(call), call.body.encode()).status
        if status == GONE:
            raise ReceiverGoneError("The receiver answered 410: it wants nothing more.")
        if not 200 <= status < 300:
            note = "; redirects are not followed" if 300 <= status < 400 else ""
            raise UpstreamError(f"The receiver answered {status}{note}.")

    def _signed(self, call: Call) -> dict[str, str]:
        """Headers of one try: the time is that of the try, one signature for each secret that is valid."""
        now = self.clock.now()
        signatures = [Webhook(secret).sign(call.message_id, now, call.body) for secret in call.secrets]
        return {
            "Content-Type": "application/json",
            "User-Agent": "Sumpwise-Webhook/1",
            "webhook-id": call.message_id,
            "webhook-timestamp": str(int(now.timestamp())),
            "webhook-signature": " ".join(signatures),
        }
