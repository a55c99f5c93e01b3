"""Hands one notice to a webhook: signed, to an allowed address, and with a bounded wait."""

import asyncio
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

import aiohttp
from standardwebhooks import Webhook

from core.clock import now
from core.outbound.session import REDIRECT, SUCCESS, in_plain_words, reason_of
from notifications.engine.answer import Answer
from notifications.notice import Notice

ANSWER_BYTES = 1024
SERVER_ERROR = 500
# Once the status is known the outcome is: what else the receiver says is worth this long.
ANSWER_SECONDS = 1.0
USER_AGENT = "Shutline/1.0 (webhooks)"


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
                reason=_reason(response.status),
                retry_after=response.headers.get("Retry-After"),
            )
    except (aiohttp.ClientError, TimeoutError, OSError, ValueError) as error:
        said = Answer(
            started_at=at, milliseconds=0, error=in_plain_words(error), reason=reason_of(error)
        )
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


def _reason(status: int) -> str:
    if status in SUCCESS:
        return ""
    if status in REDIRECT:
        return "redirect"
    return "receiver_failed" if status >= SERVER_ERROR else "refused"
