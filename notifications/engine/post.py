"""Hands one notice to a webhook: signed, to an allowed address, and with a bounded wait."""

import asyncio
import ssl
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

import aiohttp
from django.conf import settings
from standardwebhooks import Webhook

from core.clock import now
from notifications.engine.answer import Answer
from core.outbound.addresses import guarded_socket
from notifications.notice import Notice

ANSWER_BYTES = 1024
# Once the status is known the outcome is: what else the receiver says is worth this long.
ANSWER_SECONDS = 1.0
# Connections idle for longer are opened anew, since receivers close theirs after two seconds or
# more without a word, and a notice sent into a closing connection would count as a failure.
KEEP_IDLE_SECONDS = 1.0
# Long enough to serve a batch by one look-up, short enough to follow a receiver that moves.
NAMES_KEPT_SECONDS = 10
USER_AGENT = "Shutline/1.0 (webhooks)"
SUCCESS = range(200, 300)
REDIRECT = range(300, 400)


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


def signed_headers(*, notice: Notice, secrets: Sequence[str], at: datetime) -> dict[str, str]:
    """Return the headers of one attempt, signed with every secret that is valid.

    `at` must be in UTC: the reference library takes any zone's figures for UTC.
    """
    identity = str(notice.id)
    signatures = [_signer(secret).sign(identity, at, notice.body) for secret in secrets]
    return {
        "webhook-id": identity,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
        "Content-Type": "application/json",
        "User-Agent": USER_AGENT,
        "Accept-Encoding": "identity",
    }


@lru_cache(maxsize=1024)
def _signer(secret: str) -> Webhook:
    return Webhook(secret)


async def post(
    session: aiohttp.ClientSession, *, url: str, notice: Notice, secrets: Sequence[str]
) -> Answer:
    """Post the event's body to the URL; every outcome is an Answer, none an exception."""
    at, began = now(), time.monotonic()
    headers = signed_headers(notice=notice, secrets=secrets, at=at)
    try:
        async with session.post(
            url, data=notice.body.encode(), headers=headers, allow_redirects=False
        ) as response:
            said = Answer(
                started_at=at,
                milliseconds=0,
                status=response.status,
                text=await _beginning(response),
                error=_refused(response.status),
                retry_after=response.headers.get("Retry-After"),
            )
    except (aiohttp.ClientError, TimeoutError, OSError, ValueError) as error:
        said = Answer(started_at=at, milliseconds=0, error=in_plain_words(error))
    return replace(said, milliseconds=round((time.monotonic() - began) * 1000))


async def _beginning(response: aiohttp.ClientResponse) -> str:
    """Return the first of the answer's text, then let go of the connection if there is more."""
    kept = bytearray()
    try:
        async with asyncio.timeout(ANSWER_SECONDS):
            while len(kept) < ANSWER_BYTES and not response.content.at_eof():
                kept += await response.content.read(ANSWER_BYTES - len(kept))
    except (aiohttp.ClientError, TimeoutError):
        response.close()
    if not response.content.at_eof():
        response.close()
    # PostgreSQL keeps no NUL in text.
    return kept.decode(errors="replace").replace("\x00", "\ufffd")


def _refused(status: int) -> str:
    if status in SUCCESS:
        return ""
    if status in REDIRECT:
        return f"The receiver redirects ({status}), which is not followed: register the new URL."
    return f"The receiver answered {status}."


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


def _not_connected(error: OSError) -> str:
    if isinstance(error, ConnectionRefusedError):
        return "The connection was refused."
    if isinstance(error, PermissionError) and error.strerror:
        return error.strerror
    return f"No connection could be made: {error.strerror or error}."
