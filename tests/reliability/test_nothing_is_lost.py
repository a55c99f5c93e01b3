"""Every event arrives, whatever dies: the worker, its queue, its connections to the database."""

import threading
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from jobs.demo.client import Client
from tests.notifications.receiver import Received, Receiver, Reply
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, World, founded, post_batch, read_feed, read_pages

PATH = "/notices"
QUICK = Reply(delay_seconds=0.04)
# Two for each order.
EVENTS = 500
TIMEOUT_SECONDS = 5
# So many notices of which the worker was still awaiting the answer when the blow fell.
LATE = 4
LATE_IN_TIME = Reply(delay_seconds=2)
TOO_LATE = Reply(delay_seconds=2 * TIMEOUT_SECONDS)
SETTINGS = {
    "SHUTLINE_DELIVERY_TIMEOUT_SECONDS": str(TIMEOUT_SECONDS),
    "SHUTLINE_DELIVERY_LEASE_SECONDS": "6",  # a killed worker's claims are free again after it
    "SHUTLINE_RETRY_SECONDS": "0,1,1,1,1,1,1,1,1,1",
}


@pytest.fixture(params=FORMS)
def world(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[World]:
    with founded(request.param, tmp_path, **SETTINGS) as founded_world:
        founded_world.start()
        yield founded_world


@contextmanager
def followed(client: Client) -> Iterator[list[dict[str, Any]]]:
    """Poll the feed from here on, as a dealer's system does; the list is whole at the end."""
    entries: list[dict[str, Any]] = []
    stop = threading.Event()

    def follow() -> None:
        last_look = False
        while not last_look:
            last_look = stop.wait(0.1)
            after = entries[-1]["position"] if entries else 0
            entries.extend(read_feed(client, after))

    with ThreadPoolExecutor(1) as pool:
        following = pool.submit(follow)
        try:
            yield entries
        finally:
            stop.set()
            following.result(timeout=PATIENCE_SECONDS)


def notice_of(body: Mapping[str, Any]) -> tuple[str, str]:
    return body["type"], body["data"]["job"]["id"]


def wait_for_ids(receiver: Receiver, count: int) -> None:
    receiver.wait_until(lambda: len({request.event_id for request in receiver.at(PATH)}) >= count)


def wait_for_late_answers(receiver: Receiver, late: Reply) -> None:
    """Answer the next notices late, and wait until some of them have arrived."""
    before = len(receiver.at(PATH))
    receiver.answer(PATH, *[late] * LATE, QUICK)
    receiver.wait_for(before + 2 * LATE, PATH)


def cut_the_workers_connections(world: World, receiver: Receiver) -> None:
    """Cut them in the middle of a run, and wait until it has met with that."""
    wait_for_late_answers(receiver, LATE_IN_TIME)
    assert world.cut_connections() > 0
    wait_until(lambda: "terminating connection" in world.log("notices"), "a run without database")


def play(world: World, dealer: Client, receiver: Receiver) -> set[tuple[str, str]]:
    """Post every order, break everything on the way, and return the notices that must come."""
    with ThreadPoolExecutor(3) as posting:
        batches = posting.map(lambda first: post_batch(dealer, first, 40), (0, 40, 80))
        wait_for_ids(receiver, 40)
        wait_for_late_answers(receiver, TOO_LATE)
        world.kill_worker()
        expected = set().union(*batches)
    with world.frozen_worker():  # once it has been started again
        expected |= post_batch(dealer, 120, 30)
        assert world.messages(), "nothing to lose"
        world.empty_queue()
    wait_for_ids(receiver, 200)
    with ThreadPoolExecutor(1) as posting:
        batch = posting.submit(post_batch, dealer, 150, 50)
        if world.on_servers:
            cut_the_workers_connections(world, receiver)
        expected |= batch.result()
    expected |= post_batch(dealer, 200, 50)
    wait_for_ids(receiver, 350)
    world.empty_queue()
    return expected


def check_receipts(
    receipts: Sequence[Received], secret: str, expected: set[tuple[str, str]]
) -> set[str]:
    """Hold what arrived against what must; return the ids."""
    bodies: defaultdict[str, set[bytes]] = defaultdict(set)
    notices: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
    for receipt in receipts:
        notices[notice_of(receipt.verify(secret))].add(receipt.event_id)
        bodies[receipt.event_id].add(receipt.body)
    assert set(notices) == expected
    assert all(len(ids) == 1 for ids in notices.values()), "a repeat under another id"
    assert all(len(different) == 1 for different in bodies.values()), "an id for two notices"
    assert len(bodies) == EVENTS
    return set(bodies)


def check_feed(feed: Sequence[Any], ids: set[str], expected: set[tuple[str, str]]) -> None:
    """Hold the feed against what must be in it: each event once, in a strictly rising order."""
    positions = [entry["position"] for entry in feed]
    assert positions == sorted(set(positions))
    assert sorted(entry["id"] for entry in feed) == sorted(ids)
    assert {notice_of(entry) for entry in feed} == expected


def test_every_event_arrives_though_worker_queue_and_connections_are_destroyed(
    world: World, receiver: Receiver
) -> None:
    dealer = world.dealer()
    receiver.answer(PATH, QUICK)
    endpoint = dealer.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201).json
    with followed(dealer) as entries:
        expected = play(world, dealer, receiver)
        wait_for_ids(receiver, EVENTS)
        deliveries = f"/webhook-endpoints/{endpoint['id']}/deliveries?page_size=200"
        waiting = f"{deliveries}&state=waiting"
        wait_until(lambda: not read_pages(dealer, waiting), "an end of deliveries")
    assert len(expected) == EVENTS

    receipts = receiver.at(PATH)
    ids = check_receipts(receipts, endpoint["secret"], expected)
    delivered = read_pages(dealer, f"{deliveries}&state=delivered")
    assert sorted(delivery["event_id"] for delivery in delivered) == sorted(ids)
    recorded = sum(len(delivery["attempts"]) for delivery in delivered)
    assert len(receipts) - recorded >= LATE, "the worker was not killed in the middle"

    # Who followed the feed all the time has what one reads who begins now.
    for feed in (entries, read_feed(dealer)):
        check_feed(feed, ids, expected)
