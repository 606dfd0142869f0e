"""Which addresses a call that a user asked for may reach: public ones, and networks that the operator named.

An address inside another one (IPv4 in IPv6, NAT64, 6to4) is judged by the inner one; the library's own "is it
global" says yes to those, to multicast and to the retired relay and site-local ranges.
"""

from collections.abc import Sequence
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Final

from service.errors import InvalidInputError

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

NAT64: Final = IPv6Network("64:ff9b::/96")
"""RFC 6052; the last 32 bits are an IPv4 address."""

NEVER: Final[tuple[Network, ...]] = (
    IPv4Network("192.88.99.0/24"),  # 6to4 relays, RFC 7526
    IPv4Network("168.63.129.16/32"),  # a host's own agent on a public cloud, reachable from inside only
    IPv6Network("fec0::/10"),  # site-local, RFC 3879
    IPv6Network("64:ff9b:1::/48"),  # NAT64 inside one network, RFC 8215
    IPv6Network("2001::/23"),  # protocol assignments, Teredo among them, RFC 2928
    IPv6Network("::/96"),  # IPv4 in IPv6 of the old kind, RFC 4291 2.5.5.1
    IPv6Network("3fff::/20"),  # documentation, RFC 9637
    IPv6Network("5f00::/16"),  # segment routing, RFC 9602
)


def parse_networks(text: str) -> tuple[Network, ...]:
    """Read a comma-separated list of networks in CIDR form.

    Raises
    ------
    InvalidInputError
        If one is none.
    """
    try:
        return tuple(ip_network(part.strip()) for part in text.split(",") if part.strip())
    except ValueError as error:
        raise InvalidInputError(
            f"Networks are written like 10.1.0.0/16, separated by commas: {error}"
        ) from error


def is_listed(text: str, allowed: Sequence[Network]) -> bool:
    """Whether the operator named a network that holds this address."""
    address = _innermost(ip_address(text))
    return any(address.version == network.version and address in network for network in allowed)


def is_public(text: str) -> bool:
    """Whether an address is one that anybody on the internet may be reached at."""
    address = _innermost(ip_address(text))
    if any(address.version == network.version and address in network for network in NEVER):
        return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def _innermost(address: Address) -> Address:
    """Unwrap an IPv4 address that stands inside an IPv6 one."""
    if isinstance(address, IPv4Address):
        return address
    inner = address.ipv4_mapped or address.sixtofour
    if inner is None and address in NAT64:
        inner = IPv4Address(int(address) & 0xFFFFFFFF)
    return address if inner is None else inner
