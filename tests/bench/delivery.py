"""Delivery: how fast a backlog empties, and how soon a fresh notice is on its way."""

import asyncio
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import aiohttp
from django.db import transaction

from core.serving.parts import common_environment, worker_command
from notifications.engine.run import deliver
from notifications.models import Delivery, Endpoint, Event
from tests.bench import receiver
from tests.bench.report import Ratio, Wait
from tests.bench.scene import BenchScene, append, endpoints

ROUNDS = 5
BACKLOG = 2000
AT_ONCE = 64
WAITS = 300
DEADLINE_SECONDS = 30.0


def measure(bench: BenchScene) -> tuple[Ratio, Wait]:
    """Return the ratio of the engine to a bare loop, and the wait of an idle service."""
    taker = receiver.start()
    try:
        places = endpoints(bench, taker.url)
        pairs = []
        for _ in range(ROUNDS):
            bodies = _backlog(bench, places)
            base = asyncio.run(_bare(taker.url, bodies))
            pairs.append((_engine(), base))
        wait = _wait(bench, taker)
    finally:
        taker.stop()
    ratio = Ratio("delivery with all bookkeeping", "bare aiohttp loop", pairs, 0.4)
    return ratio, Wait("commit to first byte, idle", wait, 250)


def _backlog(bench: BenchScene, places: Sequence[Endpoint]) -> list[bytes]:
    with transaction.atomic():
        events = [append(bench, places[number % len(places)]) for number in range(BACKLOG)]
    return [event.body.encode() for event in events]


async def _bare(url: str, bodies: Sequence[bytes]) -> float:
    numbers = iter(range(len(bodies)))
    async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(limit=AT_ONCE)) as session:

        async def one_after_another() -> None:
            for number in numbers:
                async with session.post(f"{url}/bare", data=bodies[number]) as answer:
                    await answer.read()

        began = time.perf_counter()
        await asyncio.gather(*(one_after_another() for _ in range(AT_ONCE)))
        return len(bodies) / (time.perf_counter() - began)


def _engine() -> float:
    began = time.perf_counter()
    deliver()
    seconds = time.perf_counter() - began
    left = Delivery.objects.filter(state=Delivery.State.WAITING).count()
    if left or Event.objects.filter(position=None).exists():
        raise RuntimeError(f"{left} deliveries were not delivered, so the rate means nothing.")
    return BACKLOG / seconds


@contextmanager
def _worker() -> Iterator[None]:
    worker = subprocess.Popen(worker_command(), env=common_environment("http://127.0.0.1"))
    try:
        yield
    finally:
        worker.terminate()
        worker.wait()


def _wait(bench: BenchScene, taker: receiver.Receiver) -> list[float]:
    """Commit one event at a time and return how long each took to reach the receiver, in ms."""
    place = endpoints(bench, taker.url, count=1)[0]
    Endpoint.objects.filter(pk=place.pk).update(address=f"{taker.url}/timed")
    waits = []
    with _worker():
        _until_arrived(taker, _commit_one(bench, place)[1])  # the worker is up
        for _ in range(WAITS):
            committed, identity = _commit_one(bench, place)
            arrived = _until_arrived(taker, identity)
            waits.append(max(0.0, arrived - committed) * 1000)
    return waits


def _commit_one(bench: BenchScene, place: Endpoint) -> tuple[float, str]:
    moments: list[float] = []
    with transaction.atomic():
        transaction.on_commit(lambda: moments.append(time.time()))
        event = append(bench, place)
    return moments[0], str(event.id)


def _until_arrived(taker: receiver.Receiver, identity: str) -> float:
    deadline = time.monotonic() + DEADLINE_SECONDS
    while (arrived := taker.arrivals().get(identity)) is None:
        if time.monotonic() > deadline:
            raise RuntimeError(f"Notice {identity} did not arrive.")
        time.sleep(0.005)
    return arrived
