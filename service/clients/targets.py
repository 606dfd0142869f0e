"""Addresses of webhooks: how they may be written, and where they lead at this moment."""

import re
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import SplitResult, urlsplit

from service.clients.addresses import Network, is_listed, is_public
from service.errors import InvalidInputError, UpstreamError

POINTER: Final = "/target"
MAX_CHARACTERS: Final = 500
_SOUND: Final = re.compile(r"[\x21-\x7e]+")
_PLAIN_HOST: Final = re.compile(r"[A-Za-z0-9.\-_:]+")

OPEN_PORTS: Final = frozenset({80, 443, 8443, *range(8000, 9001)})
PORTS_OF_OTHERS: Final = frozenset(
    {
        *(1433, 1521, 2049, 2181, 2375, 2376, 2379, 2380, 3306, 3389, 5432, 5672, 5900, 5984, 6000),
        *(6379, 6443, 6666, 6667, 9042, 9092, 9200, 9300, 10250, 11211, 15672, 27017),
    }
)
"""Databases, queues and control planes that would take a line of HTTP for a command; common practice, no source."""

Resolve = Callable[[str, int], Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """A webhook's address, and the one machine that it was found to lead to."""

    url: str
    host: str
    port: int
    address: str

    @property
    def pinned_url(self) -> str:
        """The same address with the machine in the place of the name."""
        parts = urlsplit(self.url)
        host = f"[{self.address}]" if ":" in self.address else self.address
        return parts._replace(netloc=f"{host}:{self.port}", fragment="").geturl()

    @property
    def host_header(self) -> str:
        """What the receiver is to be called."""
        return urlsplit(self.url).netloc


def resolve_host(host: str, port: int) -> list[str]:
    """Addresses of a name, as this machine finds them.

    Raises
    ------
    UpstreamError
        If there are none.
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise UpstreamError("The receiver's name cannot be resolved.") from error
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


@dataclass(frozen=True, slots=True)
class TargetRules:
    """What may be called: the operator's networks, and how names are resolved."""

    allowed: Sequence[Network] = ()
    resolve: Resolve = resolve_host

    def find_route(self, url: str) -> Route:
        """Check an address and where it leads now; whoever calls it must use the machine that was checked.

        Raises
        ------
        InvalidInputError
            If it must not be called.
        UpstreamError
            If its name has no address.
        """
        parts, host, port = _read(url)
        addresses = self.resolve(host, port)
        for address in addresses:
            self._check(parts.scheme, address.partition("%")[0], port)
        if not addresses:
            raise UpstreamError("The receiver's name has no address.")
        return Route(url=url, host=host, port=port, address=addresses[0])

    def check(self, pointer: str, url: str) -> None:
        """Refuse an address that somebody typed, at the field where it was.

        Raises
        ------
        InvalidInputError
            If it leads to nowhere or to where no call may go.
        """
        try:
            self.find_route(url)
        except (InvalidInputError, UpstreamError) as error:
            detail = error.errors[0].detail if error.errors else error.detail
            raise InvalidInputError.at(pointer, detail) from error

    def _check(self, scheme: str, address: str, port: int) -> None:
        if is_listed(address, self.allowed):
            if port not in OPEN_PORTS and (port < 1024 or port in PORTS_OF_OTHERS):
                raise InvalidInputError.at(POINTER, f"Port {port} is not one for webhooks.")
            return
        if not is_public(address):
            raise InvalidInputError.at(POINTER, "Leads to a private address; the operator has to allow it.")
        if scheme != "https":
            raise InvalidInputError.at(POINTER, "Must begin with https://.")
        if port not in OPEN_PORTS:
            raise InvalidInputError.at(POINTER, f"Port {port} is not one for webhooks; take 443.")


def _read(url: str) -> tuple[SplitResult, str, int]:
    if len(url) > MAX_CHARACTERS or _SOUND.fullmatch(url) is None or "\\" in url:
        raise InvalidInputError.at(POINTER, "Must be an address of printable ASCII, at most 500 characters.")
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise InvalidInputError.at(POINTER, "Is not a web address.") from None
    if parts.scheme not in {"http", "https"} or _PLAIN_HOST.fullmatch(host) is None or port == 0:
        raise InvalidInputError.at(POINTER, "Must be a web address such as https://example.org/hook.")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise InvalidInputError.at(POINTER, "Must not carry a user name, a password or a fragment.")
    return parts, host.rstrip("."), port or (443 if parts.scheme == "https" else 80)
