"""Secrets that messages are signed with, ours and those of machine sources: made, replaced, and valid for a while."""

import base64
import secrets
from datetime import datetime
from typing import Final

from service.domain.webhook_signatures import PREFIX
from service.store.tables.machine_sources import MachineSource
from service.store.tables.subscriptions import Subscription
from service.usecases.access.manage_tokens import require_overlap

SECRET_BYTES: Final = 32
"""The scheme asks for 24 to 64."""


def new_secret() -> str:
    """Make a secret in the form that the scheme's libraries take."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def replace_secret(
    row: MachineSource | Subscription, now: datetime, old_valid_until: datetime | None
) -> None:
    """Give a new secret; the old one is valid beside it until then, or not at all any more.

    Raises
    ------
    InvalidInputError
        If that is past or too far off.
    """
    require_overlap(now, old_valid_until)
    row.previous_secret = row.secret if old_valid_until is not None else None
    row.previous_secret_until = old_valid_until
    row.secret = new_secret()


def valid_secrets(row: MachineSource | Subscription, now: datetime) -> list[str]:
    """The present secret, and after a change the one before while it is still valid."""
    until = row.previous_secret_until
    previous = row.previous_secret if until is not None and now < until else None
    return [secret for secret in (row.secret, previous) if secret is not None]
