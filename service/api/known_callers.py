"""Which organisation a secret spoke for last time: to queue a request before anybody has looked at the database.

Nothing is allowed or refused by this; a secret that was revoked since merely waits in its old queue for its refusal.
"""

from collections import OrderedDict
from typing import Final

from starlette.requests import Request

from service.store.repositories.access import hash_secret

MOST_KNOWN: Final = 10_000
SCHEME: Final = "bearer "


class KnownCallers:
    """Organisations by the hash of a secret, the least recently used one forgotten first."""

    def __init__(self) -> None:
        self._organisations: OrderedDict[str, int] = OrderedDict()

    def note(self, secret: str | None, organisation_id: int) -> None:
        """Remember for whom a secret spoke."""
        if secret is None:
            return
        self._organisations[hash_secret(secret)] = organisation_id
        if len(self._organisations) > MOST_KNOWN:
            self._organisations.popitem(last=False)

    def queue_of(self, request: Request) -> str:
        """Name of the queue in which a request waits: its organisation's, or that of the address it came from."""
        header = request.headers.get("authorization", "")
        if header[: len(SCHEME)].lower() == SCHEME:
            organisation_id = self._organisations.get(hash_secret(header[len(SCHEME) :].strip()))
            if organisation_id is not None:
                return f"organisation {organisation_id}"
        return request.client.host if request.client else "unknown"
