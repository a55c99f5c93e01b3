"""The session that everything outside is asked through, and what its failures are called.

The check that counts is made when the socket is opened, on the very address that is about to be
connected to, so neither a name that resolves differently the second time nor a literal address
gets round it.
"""

import socket
import ssl
from typing import Any

import aiohttp
from django.conf import settings

from core.outbound.addresses import AddressNotAllowedError, address_allowed

# Connections idle for longer are opened anew, since receivers close theirs after two seconds or
# more without a word, and a notice sent into a closing connection would count as a failure.
KEEP_IDLE_SECONDS = 1.0
# Long enough to serve a batch by one look-up, short enough to follow a receiver that moves.
NAMES_KEPT_SECONDS = 10
SUCCESS = range(200, 300)
REDIRECT = range(300, 400)


def guarded_socket(addr_info: tuple[Any, ...]) -> socket.socket:
    """Open the socket for an address about to be connected to. Raises AddressNotAllowedError."""
    family, kind, protocol, _, address = addr_info
    if family not in (socket.AF_INET, socket.AF_INET6) or not address_allowed(address[0]):
        raise AddressNotAllowedError(str(address[0]))
    return socket.socket(family=family, type=kind, proto=protocol)


def open_session() -> aiohttp.ClientSession:
    """Return a session for one run: no redirects, cookies, proxies or decompression."""
    connector = aiohttp.TCPConnector(
        limit=0,  # the run counts its places itself
        socket_factory=guarded_socket,
        keepalive_timeout=KEEP_IDLE_SECONDS,
        ttl_dns_cache=NAMES_KEPT_SECONDS,
    )
    return aiohttp.ClientSession(
        connector=connector,
        timeout=aiohttp.ClientTimeout(total=settings.DELIVERY_TIMEOUT_SECONDS),
        cookie_jar=aiohttp.DummyCookieJar(),
        trust_env=False,
        auto_decompress=False,
    )


def in_plain_words(error: Exception) -> str:
    """Return what went wrong in a sentence for the endpoint's owner."""
    match error:
        case TimeoutError():
            return f"No answer within {settings.DELIVERY_TIMEOUT_SECONDS} seconds."
        case aiohttp.ClientConnectorDNSError():
            return f"The name {error.host} was not found."
        case aiohttp.ClientConnectorCertificateError():
            return f"The TLS certificate is not valid: {error.certificate_error}."
        case aiohttp.ClientConnectorSSLError() | ssl.SSLError():
            return f"No TLS connection could be made: {error}."
        case aiohttp.ClientConnectorError():
            return _not_connected(error.os_error)
        case aiohttp.ServerDisconnectedError() | aiohttp.ClientOSError() | OSError():
            return "The connection was closed before an answer came."
        case ValueError():  # aiohttp.InvalidURL is one
            return "The URL cannot be used: check its host."
        case _:
            return f"The answer was not proper HTTP: {error}."


def reason_of(error: Exception) -> str:
    """Return the class of what went wrong, for logs and numbers: it names nobody."""
    match error:
        case TimeoutError():
            return "no_answer_in_time"
        case aiohttp.ClientConnectorDNSError():
            return "name_not_found"
        case (
            aiohttp.ClientConnectorCertificateError()
            | aiohttp.ClientConnectorSSLError()
            | ssl.SSLError()
        ):
            return "tls"
        case aiohttp.ClientConnectorError():
            refused = isinstance(error.os_error, PermissionError)
            return "address_not_allowed" if refused else "no_connection"
        case ValueError():  # aiohttp.InvalidURL is one
            return "bad_url"
        case _:
            return "broke_off"


def _not_connected(error: OSError) -> str:
    if isinstance(error, ConnectionRefusedError):
        return "The connection was refused."
    if isinstance(error, PermissionError) and error.strerror:
        return error.strerror
    return f"No connection could be made: {error.strerror or error}."
