"""Which organisation a secret spoke for last time: to queue a request before anybody has looked at the database.

Nobody gets in by this: it says in which queue a request waits and whose calls it counts among. A secret that was
revoked is forgotten with its first refusal.
"""

from collections import OrderedDict
from contextlib import suppress
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
        hashed = hash_secret(secret)
        self._organisations[hashed] = organisation_id
        with suppress(KeyError):  # another thread may have forgotten it just now
            self._organisations.move_to_end(hashed)
        if len(self._organisations) > MOST_KNOWN:
            self._organisations.popitem(last=False)

    def forget(self, secret: str) -> None:
        """A secret that is refused speaks for nobody any more."""
        self._organisations.pop(hash_secret(secret), None)

    def organisation_of(self, request: Request) -> int | None:
        """Organisation that the secret in a request spoke for; none if it carries none, or an unknown one."""
        header = request.headers.get("authorization", "")
        if header[: len(SCHEME)].lower() != SCHEME:
            return None
        return self._organisations.get(hash_secret(header[len(SCHEME) :].strip()))
