"""Fetches JSON from URLs that an organisation named, through the guarded session.

No redirect is followed, nothing compressed is unpacked, no answer may be large or take long, and
every outcome is a value: what went wrong comes as a sentence.
"""

import asyncio
from collections.abc import Sequence

import aiohttp
import orjson

from core.api.parsing import MOST_LEVELS, is_deep
from core.outbound.addresses import AddressNotAllowedError, check_url
from core.outbound.session import REDIRECT, SUCCESS, in_plain_words, open_session
from core.outbound.sources import Fetched

MOST_BYTES = 256 * 1024
# All of it: the look-up of the name, the connection and the answer to its last byte.
SECONDS = 10.0
MOST_AT_ONCE = 50
HEADERS = {
    "Accept": "application/json",
    "Accept-Encoding": "identity",
    "User-Agent": "Shutline/1.0 (forecast)",
}


def fetch_all(urls: Sequence[str], *, seconds: float = SECONDS) -> list[Fetched]:
    """Fetch each URL, several at once, and return what came in their order."""
    return asyncio.run(_fetch_all(urls, seconds)) if urls else []


async def _fetch_all(urls: Sequence[str], seconds: float) -> list[Fetched]:
    room = asyncio.Semaphore(MOST_AT_ONCE)

    async with open_session() as session:

        async def in_turn(url: str) -> Fetched:
            async with room:
                return await fetch(session, url, seconds=seconds)

        return await asyncio.gather(*(in_turn(url) for url in urls))


async def fetch(session: aiohttp.ClientSession, url: str, *, seconds: float = SECONDS) -> Fetched:
    """Fetch one URL; every outcome is a Fetched, none an exception."""
    try:
        check_url(url)  # what may be fetched can have changed since it was set
    except ValueError as error:
        return Fetched(error=str(error))
    try:
        async with session.get(
            url,
            headers=HEADERS,
            allow_redirects=False,
            timeout=aiohttp.ClientTimeout(total=seconds),
        ) as response:
            if refusal := _refused(response):
                response.close()
                return Fetched(error=refusal)
            body = await _whole(response)
    except (aiohttp.ClientError, TimeoutError, OSError, ValueError) as error:
        return Fetched(error=_in_plain_words(error, seconds))
    return _read(body)


def _refused(response: aiohttp.ClientResponse) -> str:
    """Return why an answer is not read, as its status and headers tell, or nothing."""
    status, kind = response.status, response.content_type
    if status in REDIRECT:
        return f"The URL redirects ({status}), which is not followed: set the new URL."
    if status not in SUCCESS:
        return f"The URL answered {status}."
    if kind != "application/json" and not kind.endswith("+json"):
        return f"The URL answered {kind[:80]}, not application/json."
    if response.headers.get("Content-Encoding", "identity").lower() != "identity":
        return "The answer came compressed, which was not asked for and is not unpacked."
    return ""


async def _whole(response: aiohttp.ClientResponse) -> bytes | None:
    """Return the answer, or None as soon as it is more than is read."""
    kept = bytearray()
    async for piece in response.content.iter_any():
        kept += piece
        if len(kept) > MOST_BYTES:
            response.close()
            return None
    return bytes(kept)


def _read(body: bytes | None) -> Fetched:
    if body is None:
        return Fetched(error=f"The answer is larger than {MOST_BYTES // 1024} KiB.")
    try:
        value = orjson.loads(body)
    except orjson.JSONDecodeError as error:
        return Fetched(error=f"The answer is not JSON: {error}.")
    if is_deep(value):
        return Fetched(error=f"The answer is nested more than {MOST_LEVELS} levels deep.")
    return Fetched(value)


def _in_plain_words(error: Exception, seconds: float) -> str:
    if isinstance(error, TimeoutError):
        return f"No whole answer within {seconds:g} seconds."
    inner = error.os_error if isinstance(error, aiohttp.ClientConnectorError) else error
    if isinstance(inner, AddressNotAllowedError):
        return "The URL leads to an address that is not allowed: use a public address."
    return in_plain_words(error)
