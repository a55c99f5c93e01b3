"""Where a request really comes from: behind proxies that are trusted, what they say of it.

A proxy adds the address that called it at the right of X-Forwarded-For; whatever stands left of
that the caller may have written. So the header is read from the right, and only as far as each
address read is itself a proxy that is trusted.
"""

import ipaddress
from functools import lru_cache

from django.conf import settings
from django.http import HttpRequest

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
SAME_HOME_BITS = 64  # of an IPv6 address: whoever has one has all of these


def client_address(request: HttpRequest) -> str:
    """Return the address of whoever sent the request, as far as it can be trusted."""
    peer = str(request.META.get("REMOTE_ADDR", ""))
    forwarded = str(request.META.get("HTTP_X_FORWARDED_FOR", ""))
    return _client(peer, forwarded, settings.TRUSTED_PROXIES)


def neighbourhood(address: str) -> str:
    """Return what counts as one place: an IPv4 address, or the network of an IPv6 one."""
    parsed = _parsed(address)
    if isinstance(parsed, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((parsed, SAME_HOME_BITS), strict=False))
    return str(parsed or address)


@lru_cache(maxsize=1024)
def _client(peer: str, forwarded: str, proxies: tuple[str, ...]) -> str:
    trusted = [ipaddress.ip_network(network) for network in proxies]
    found = _parsed(peer)
    for word in reversed(forwarded.split(",")):
        if found is None or not any(found in network for network in trusted):
            break
        further = _parsed(word)
        if further is None:  # nothing, or not an address: the last proxy is all that is known
            break
        found = further
    return str(found or peer)


def _parsed(word: str) -> Address | None:
    """Return the address a word stands for, also with a port or in brackets; None if it is none."""
    word = word.strip()
    if word.startswith("["):
        word = word[1:].partition("]")[0]
    elif word.count(":") == 1:
        word = word.partition(":")[0]
    try:
        found = ipaddress.ip_address(word)
    except ValueError:
        return None
    mapped = getattr(found, "ipv4_mapped", None)
    return mapped or found
