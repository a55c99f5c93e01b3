"""The calls that dealers make most, against bare views on the same server."""

import asyncio
import os
import socket
import subprocess
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

from core.serving.parts import environment_changes, web_command
from tests.bench.bare import ROWS
from tests.bench.load import Call, rate, until_up
from tests.bench.report import Ratio
from tests.bench.scene import BenchScene, orders

ROUNDS = 5
POLLS = 1500
LISTS = 800
ORDERS = 300


@contextmanager
def web_server() -> Iterator[str]:
    """Run the service's own web server with the bare views beside its own; yield its URL."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    environment = {**os.environ, **environment_changes(url, "")}
    server = subprocess.Popen(web_command("127.0.0.1", port), env=environment)
    try:
        asyncio.run(until_up(url))
        yield url
    finally:
        server.terminate()
        server.wait()


def measure(bench: BenchScene) -> list[Ratio]:
    """Return the ratios of the three calls."""
    with web_server() as url:
        return asyncio.run(_measure(url, bench))


async def _measure(url: str, bench: BenchScene) -> list[Ratio]:
    headers = bench.headers
    etag = etag_of(url, headers)
    bare_poll = Call(f"/bare/one-query?prefix={bench.prefix}")
    poll = Call("/api/v1/ready", 304, headers={**headers, "If-None-Match": etag})
    bare_list = Call(f"/bare/fifty?dealer={bench.scene.dealer.pk}")
    ready = Call("/api/v1/ready", headers=headers)
    bare_insert = Call("/bare/insert", 201, "POST")
    accept = Call("/api/v1/work-orders", 201, "POST", headers)
    ends = {"dealer": str(bench.scene.dealer.pk), "workshop": str(bench.scene.workshop.pk)}
    polls, lists, accepted = [], [], []
    for turn in range(ROUNDS):
        base = await rate(url, bare_poll, count=POLLS)
        polls.append((await rate(url, poll, count=POLLS), base))
        base = await rate(url, bare_list, count=LISTS)
        lists.append((await rate(url, ready, count=LISTS), base))
        base = await rate(url, bare_insert, count=ORDERS, bodies=orders(f"B{turn}", ORDERS, **ends))
        ours = await rate(url, accept, count=ORDERS, bodies=orders(f"O{turn}", ORDERS))
        accepted.append((ours, base))
    return [
        Ratio("unchanged poll of /ready", "bare view, one query", polls, 0.8),
        Ratio(f"/ready with {ROWS} cars", "bare view, values() and orjson", lists, 0.8),
        Ratio("accepting a work order", "bare view, the same rows", accepted, 0.5),
    ]


def etag_of(url: str, headers: dict[str, str]) -> str:
    """Return the ETag of the list of ready cars."""
    request = urllib.request.Request(f"{url}/api/v1/ready", headers=headers)  # noqa: S310  ours
    with urllib.request.urlopen(request) as answer:  # noqa: S310
        return str(answer.headers["ETag"])
