"""A steady load over HTTP from this process, and the rate it was answered at."""

import asyncio
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import aiohttp

AT_ONCE = 8


@dataclass(frozen=True, slots=True)
class Call:
    """One kind of request, sent again and again; with `bodies` each is sent once."""

    path: str
    expect: int = 200
    method: str = "GET"
    headers: dict[str, str] = field(default_factory=dict)


class WrongAnswerError(Exception):
    """The server did not answer as expected, so its rate would mean nothing."""


async def rate(base: str, call: Call, *, count: int, bodies: Sequence[bytes] = ()) -> float:
    """Send `count` requests, AT_ONCE at a time, and return answers a second."""
    numbers = iter(range(count))
    async with aiohttp.ClientSession() as client:

        async def one_after_another() -> None:
            for number in numbers:
                body = bodies[number] if bodies else None
                async with client.request(
                    call.method, base + call.path, headers=call.headers, data=body
                ) as answer:
                    text = await answer.read()
                    if answer.status != call.expect:
                        raise WrongAnswerError(f"{call.path}: {answer.status} {text[:300]!r}")

        began = time.perf_counter()
        await asyncio.gather(*(one_after_another() for _ in range(AT_ONCE)))
        return count / (time.perf_counter() - began)


async def until_up(base: str, *, seconds: float = 30) -> None:
    """Wait until the server answers."""
    deadline = time.monotonic() + seconds
    async with aiohttp.ClientSession() as client:
        while True:
            try:
                async with client.get(f"{base}/healthz") as answer:
                    if answer.status == 200:
                        return
            except aiohttp.ClientError:
                pass
            if time.monotonic() > deadline:
                raise WrongAnswerError(f"Nothing answers at {base}.")
            await asyncio.sleep(0.05)
