"""Keeps the service off the inside: which URLs may be set, which addresses connected to.

Allowed is only what is routable from everywhere; SHUTLINE_OPEN_NETWORKS opens more. Nothing here
opens a connection: the check that counts is the socket's own (core.outbound.session).
"""

import errno
import ipaddress
import re
from functools import lru_cache
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

LONGEST_URL = 500
# IANA has given out no other part of IPv6 as global unicast (RFC 4291, IANA IPv6 registry).
GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")
NAT64 = ipaddress.IPv6Network("64:ff9b::/96")  # RFC 6052
# Parts of the global space that no receiver of notices has, though `is_global` may let them by.
NEVER: tuple[Network, ...] = (
    ipaddress.IPv4Network("192.0.0.0/24"),  # IETF protocol assignments, RFC 6890
    ipaddress.IPv4Network("192.88.99.0/24"),  # 6to4 relays, withdrawn by RFC 7526
    ipaddress.IPv6Network("2001::/23"),  # protocol assignments, Teredo (RFC 4380) among them
    ipaddress.IPv6Network("2001:db8::/32"),  # documentation, RFC 3849
    ipaddress.IPv6Network("3fff::/20"),  # documentation, RFC 9637
)
_PORTS = range(1, 65536)
# How resolvers read a host as a number: the last label is decimal, octal or hexadecimal.
_NUMBER_AT_THE_END = re.compile(r"(^|\.)(0x[0-9a-f]*|[0-9]+)\.?$", re.IGNORECASE)


class AddressNotAllowedError(PermissionError):
    """This address is not one that notices may be sent to."""

    def __init__(self, address: str) -> None:
        super().__init__(
            errno.EACCES,
            f"The address {address} is not allowed: notices go to public addresses only.",
        )


def carried(address: Address) -> Address:
    """Return the IPv4 address inside an IPv4-mapped, NAT64 or 6to4 address, else the address."""
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or address


def address_allowed(text: str) -> bool:
    """Return whether this IP address may be connected to."""
    try:
        outer = ipaddress.ip_address(text)
    except ValueError:
        return False
    address = carried(outer)
    if any(
        _inside(candidate, network)
        for candidate in (outer, address)
        for network in _open_networks()
    ):
        return True
    if isinstance(address, ipaddress.IPv6Address) and address not in GLOBAL_UNICAST:
        return False
    return (
        address.is_global
        and not address.is_multicast
        and not any(_inside(address, network) for network in NEVER)
    )


def check_url(url: str) -> None:
    """Refuse a URL that could never be delivered to. Raises ValueError with a sentence.

    No name is resolved: what a name leads to is checked when it is connected to.
    """
    if len(url) > LONGEST_URL:
        raise ValueError(f"The URL is longer than {LONGEST_URL} characters.")
    if not (url.isascii() and url.isprintable()) or " " in url or "\\" in url:
        raise ValueError(
            "The URL holds spaces, backslashes or letters outside ASCII: "
            "write those percent-encoded, and a name in its xn-- form."
        )
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise ValueError("This is not a URL: the host or the port cannot be read.") from None
    schemes = ("https", "http") if settings.ALLOW_PLAIN_HTTP else ("https",)
    if parts.scheme not in schemes:
        raise ValueError(f"The URL must begin with {' or '.join(f'{s}://' for s in schemes)}.")
    if parts.username is not None or parts.password is not None:
        raise ValueError("The URL must not hold a user name or password: notices are signed.")
    if "#" in url:
        raise ValueError("The URL must not hold a fragment (#): it would never be sent.")
    if port is not None and port not in _PORTS:
        raise ValueError("The port must be from 1 to 65535.")
    _check_host(parts)


def _check_host(parts: SplitResult) -> None:
    host = parts.hostname or ""
    if not host.strip("."):
        raise ValueError("The URL names no host.")
    if ":" not in host and not _NUMBER_AT_THE_END.search(host):
        return  # a name
    try:
        ipaddress.ip_address(host)
    except ValueError:
        raise ValueError("Write an IPv4 address as four numbers, as in 203.0.113.7.") from None
    if not address_allowed(host):
        raise ValueError(f"The address {host} is not allowed: use a public address.")


def _inside(address: Address, network: Network) -> bool:
    return address.version == network.version and address in network


def _open_networks() -> tuple[Network, ...]:
    return _parsed(tuple(settings.OPEN_NETWORKS))


@lru_cache(maxsize=8)
def _parsed(networks: tuple[str, ...]) -> tuple[Network, ...]:
    return tuple(ipaddress.ip_network(text) for text in networks)
