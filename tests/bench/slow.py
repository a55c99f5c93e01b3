"""What two hundred senders who dawdle cost everybody else."""

import asyncio
import statistics
import time
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from urllib.parse import urlsplit

import aiohttp

from tests.bench.load import AT_ONCE, Call, WrongAnswerError
from tests.bench.report import Ratio
from tests.bench.scene import BenchScene
from tests.bench.web import etag_of, web_server

ROUNDS = 5
SENDERS = 200
CALLS = 800
ADDRESSES = ("/api/v1/session", "/sign-in", "/admin/login/")


def measure(bench: BenchScene) -> list[Ratio]:
    """Return the P99 of the poll beside slow senders against the P99 without them."""
    with web_server() as url:
        return [asyncio.run(_measure(url, bench))]


async def _measure(url: str, bench: BenchScene) -> Ratio:
    headers = {**bench.headers, "If-None-Match": etag_of(url, bench.headers)}
    poll = Call("/api/v1/ready", 304, headers=headers)
    pairs = []
    for _ in range(ROUNDS):
        alone = await p99(url, poll)
        async with slow_senders(url):
            beside = await p99(url, poll)
        pairs.append((1 / beside, 1 / alone))
    name = f"1/P99 of the poll beside {SENDERS} slow senders"
    return Ratio(name, "1/P99 without them", pairs, 0.5)


@asynccontextmanager
async def slow_senders(url: str) -> AsyncIterator[None]:
    """Hold so many connections that each sent headers and one byte of a body."""
    place = urlsplit(url)
    async with AsyncExitStack() as stack:
        for number in range(SENDERS):
            _, writer = await asyncio.open_connection(place.hostname, place.port)
            stack.callback(writer.close)
            address = ADDRESSES[number % len(ADDRESSES)]
            lines = (f"POST {address} HTTP/1.1", "Host: localhost", "Content-Length: 100", "", "{")
            writer.write("\r\n".join(lines).encode())
            await writer.drain()
        yield


async def p99(url: str, call: Call) -> float:
    """Return the P99 of the seconds that CALLS calls took, AT_ONCE at a time."""
    took: list[float] = []
    numbers = iter(range(CALLS))
    async with aiohttp.ClientSession() as client:

        async def one_after_another() -> None:
            for _ in numbers:
                began = time.perf_counter()
                async with client.get(url + call.path, headers=call.headers) as answer:
                    await answer.read()
                    if answer.status != call.expect:
                        raise WrongAnswerError(f"{call.path}: {answer.status}")
                took.append(time.perf_counter() - began)

        await asyncio.gather(*(one_after_another() for _ in range(AT_ONCE)))
    return statistics.quantiles(took, n=100, method="inclusive")[98]
