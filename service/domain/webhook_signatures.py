"""Check messages by the open Standard Webhooks scheme: signed just now, by one of the secrets that are valid."""

import base64
import hmac
import re
from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import Final

from service.errors import AuthenticationRequiredError

PREFIX: Final = "whsec_"
TOLERANCE_SECONDS: Final = 300
"""The scheme's own libraries take five minutes."""

_ID: Final = re.compile(r"[\x21-\x2d\x2f-\x7e]{1,120}")
"""Printable ASCII without a point, which separates the parts of what is signed."""

_TIMESTAMP: Final = re.compile(r"[0-9]{1,12}")
_VERSION: Final = "v1,"
MOST_SIGNATURES: Final = 10


def check_signature(
    secrets: Sequence[str], message_id: str, timestamp: str, signatures: str, body: bytes, now: datetime
) -> None:
    """Refuse a message that none of the secrets has signed just now.

    Raises
    ------
    AuthenticationRequiredError
        Whatever is wrong with it.
    """
    if _ID.fullmatch(message_id) is None or _TIMESTAMP.fullmatch(timestamp) is None:
        raise AuthenticationRequiredError(
            "A message needs webhook-id, webhook-timestamp and webhook-signature."
        )
    if abs(now.timestamp() - int(timestamp)) > TOLERANCE_SECONDS:
        raise AuthenticationRequiredError(
            "The message was not signed within the last five minutes, or the sender's clock is wrong."
        )
    wanted = [_sign(secret, message_id, timestamp, body) for secret in secrets]
    given = [
        one.removeprefix(_VERSION).encode("ascii", "replace")
        for one in signatures.split(" ")[:MOST_SIGNATURES]
        if one.startswith(_VERSION)
    ]
    # Every pair is compared, so that the time taken tells nothing of which one was near.
    matches = [hmac.compare_digest(one, other) for one in wanted for other in given]
    if not any(matches):
        raise AuthenticationRequiredError("The message is not signed by a secret of this source.")


def _sign(secret: str, message_id: str, timestamp: str, body: bytes) -> bytes:
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = b".".join((message_id.encode(), timestamp.encode(), body))
    return base64.b64encode(hmac.digest(key, signed, sha256))
