"""Delivery: how fast a backlog empties, and how soon a fresh notice is on its way."""

import asyncio
import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import aiohttp
from django.conf import settings
from django.db import transaction
from django.db.models import Max

from core.serving.parts import environment_changes, workers_command
from notifications.models import Delivery, Endpoint
from tests.bench import receiver
from tests.bench.report import Ratio, Wait
from tests.bench.scene import BenchScene, append, endpoints
from tests.reliability.long_work.tasks import FOLDER, last

ROUNDS = 5
BACKLOG = 4000
WAITS = 300
LONG_TASKS = 10
DEADLINE_SECONDS = 60.0


def measure(bench: BenchScene) -> tuple[list[Ratio], list[Wait]]:
    """Return the ratios of the engine to bare loops, and the waits: idle, and beside long work."""
    taker = receiver.start()
    one_by_one, many_at_once = [], []
    try:
        places = endpoints(bench, taker.url)
        with _worker("notices"):
            _until_arrived(taker, _commit_one(bench, _timed(bench, taker))[1])  # it is up
            for _ in range(ROUNDS):
                ours, bodies = _engine(bench, places)
                one_by_one.append((ours, asyncio.run(_bare(taker.url, bodies, at_once=1))))
                at_once = settings.DELIVERY_CONCURRENCY
                many_at_once.append((ours, asyncio.run(_bare(taker.url, bodies, at_once=at_once))))
            idle = _wait(bench, taker)
            with _worker("work"), _long_work():
                beside = _wait(bench, taker)
    finally:
        taker.stop()
    name = "delivery with all bookkeeping"
    ratios = [
        Ratio(name, "bare aiohttp loop", one_by_one, 0.4),
        Ratio(name, f"the same, {at_once} at once", many_at_once, None),
    ]
    return ratios, [
        Wait("commit to first byte, idle", idle, 250),
        Wait(f"the same, {LONG_TASKS} long tasks waiting", beside, 250),
    ]


async def _bare(url: str, bodies: Sequence[bytes], *, at_once: int) -> float:
    """Post the bodies and read the answers; sign, guard, claim and record nothing."""
    numbers = iter(range(len(bodies)))
    async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(limit=at_once)) as session:

        async def one_after_another() -> None:
            for number in numbers:
                async with session.post(f"{url}/bare", data=bodies[number]) as answer:
                    await answer.read()

        began = time.perf_counter()
        await asyncio.gather(*(one_after_another() for _ in range(at_once)))
        return len(bodies) / (time.perf_counter() - began)


def _engine(bench: BenchScene, places: Sequence[Endpoint]) -> tuple[float, list[bytes]]:
    """Commit a backlog and return how many a second the worker delivered, and the bodies.

    From the commit to the last result in the database.
    """
    with transaction.atomic():
        events = [append(bench, places[number % len(places)]) for number in range(BACKLOG)]
        first = events[0].number
    committed = time.time()
    done = Delivery.objects.filter(event__gte=first, state=Delivery.State.DELIVERED)
    deadline = time.monotonic() + DEADLINE_SECONDS
    while done.count() < BACKLOG:
        if time.monotonic() > deadline:
            raise RuntimeError("The backlog was not delivered, so its rate would mean nothing.")
        time.sleep(0.1)
    last = done.aggregate(last=Max("finished_at"))["last"]
    return BACKLOG / (last.timestamp() - committed), [event.body.encode() for event in events]


@contextmanager
def _worker(name: str) -> Iterator[None]:
    environment = {**os.environ, **environment_changes("http://127.0.0.1", "")}
    worker = subprocess.Popen(workers_command(name), env=environment)
    try:
        yield
    finally:
        worker.terminate()
        worker.wait()


@contextmanager
def _long_work() -> Iterator[None]:
    """Keep every process of work busy, and more of it waiting, until the block is left."""
    folder = Path(os.environ[FOLDER])
    for left in folder.glob("*"):
        left.unlink()
    for _ in range(LONG_TASKS):
        last.delay()
    deadline = time.monotonic() + DEADLINE_SECONDS
    while len(list(folder.glob("*.begun"))) < settings.WORKER_PROCESSES["work"]:
        if time.monotonic() > deadline:
            raise RuntimeError("The long work did not begin.")
        time.sleep(0.05)
    try:
        yield
    finally:
        (folder / "end").touch()


def _timed(bench: BenchScene, taker: receiver.Receiver) -> Endpoint:
    place = endpoints(bench, taker.url, count=1)[0]
    place.address = f"{taker.url}/timed"
    place.save(update_fields=["address"])
    return place


def _wait(bench: BenchScene, taker: receiver.Receiver) -> list[float]:
    """Commit one event at a time and return how long each took to reach the receiver, in ms."""
    place = _timed(bench, taker)
    waits = []
    for _ in range(WAITS):
        committed, identity = _commit_one(bench, place)
        waits.append(max(0.0, _until_arrived(taker, identity) - committed) * 1000)
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
