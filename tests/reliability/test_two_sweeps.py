"""Two workers sweeping at once, or two beats, send nothing twice; a killed one's work is resent."""

import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.db import transaction

from accounts.models import Organisation
from core.clock import now
from core.ids import new_id
from core.serving.parts import workers_command
from notifications.models import Attempt, Delivery, Endpoint
from notifications.services.outbox import event_append
from notifications.services.publish import events_publish
from notifications.services.secrets import encrypt, new_secret
from tests.notifications.processes import start
from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT, wait_until
from tests.reliability.world import FORMS, World, founded, post_batch, read_pages

PATHS = ("/a", "/b", "/c", "/d")
EVENTS = 100
DELIVERIES = EVENTS * len(PATHS)
# As many places as endpoints: each process has one notice for each in flight, and no more.
PLACES = len(PATHS)
QUICK = Reply(delay_seconds=0.02)
ORDERS = 60
LEASE_SECONDS = 6
# The killed process waits for an answer to the end, however late the test comes to kill it.
TIMEOUT_SECONDS = 30
HANGS = Reply(delay_seconds=TIMEOUT_SECONDS)

# As a worker does on every sweep, again and again while anything waits.
SWEEP = """
from notifications.engine.run import deliver
from notifications.models import Delivery
from tests.patience import PATIENCE_SECONDS
ready()
delivered = 0
while Delivery.objects.filter(state="waiting").exists():
    delivered += deliver().delivered
print(delivered)
"""


class Sweeper:
    """A process that is set up, and delivers what is due from `go` to the end."""

    def __init__(self, **settings: str) -> None:
        self.process = start(SWEEP, SHUTLINE_DELIVERY_CONCURRENCY=str(PLACES), **settings)

    def wait_until_set_up(self) -> None:
        assert self.process.stdout
        assert self.process.stdout.readline() == "ready\n"

    def go(self) -> None:
        assert self.process.stdin
        self.process.stdin.write("go\n")
        self.process.stdin.flush()

    def delivered(self) -> int:
        """Wait for its end and return how many deliveries it made."""
        printed, _ = self.process.communicate(timeout=PATIENCE_SECONDS)
        assert self.process.returncode == 0
        return int(printed)

    def kill(self) -> None:
        self.process.kill()
        self.process.communicate()


@contextmanager
def sweepers(**settings: str) -> Iterator[tuple[Sweeper, Sweeper]]:
    """Set two of them up with the same settings."""
    first, second = Sweeper(**settings), Sweeper(**settings)
    try:
        for sweeper in (first, second):
            sweeper.wait_until_set_up()
        yield first, second
    finally:
        for sweeper in (first, second):
            sweeper.kill()


@pytest.fixture
def backlog(transactional_db: None, receiver: Receiver) -> None:
    """Make the backlog: every event is due to each of the endpoints."""
    del transactional_db
    dealer = Organisation.objects.create(kind="dealer", name="Harrow Lane Cars")
    for path in PATHS:
        receiver.answer(path, QUICK)
        Endpoint.objects.create(
            organisation=dealer,
            channel=Endpoint.Channel.WEBHOOK,
            address=receiver.url(path),
            secret=encrypt(new_secret()),
        )
    with transaction.atomic():
        for _ in range(EVENTS):
            event_append(
                type="job.ready",
                subject_id=new_id(),
                occurred_at=now(),
                data={},
                dealer_id=dealer.pk,
            )
    while events_publish():
        pass
    assert Delivery.objects.filter(state=Delivery.State.WAITING).count() == DELIVERIES


def arrivals(receiver: Receiver) -> Counter[tuple[str, str]]:
    """Count how often each event arrived at each path."""
    return Counter((request.path, request.event_id) for request in receiver.received)


def wait_for_arrivals(receiver: Receiver, count: int) -> None:
    receiver.wait_until(lambda: len(receiver.received) >= count)


def ends_of_leases() -> dict[tuple[str, str], float]:
    """Return when each claimed delivery is free again, on the receiver's clock."""
    moment, at = time.monotonic(), now()
    claimed = Delivery.objects.filter(claimed_until__isnull=False)
    rows = claimed.values_list("endpoint__address", "event__id", "claimed_until")
    return {
        (urlsplit(address).path, str(event_id)): moment + (until - at).total_seconds()
        for address, event_id, until in rows
        if until
    }


@pytest.mark.usefixtures("backlog")
def test_two_processes_sweeping_a_backlog_at_once_send_nothing_twice(receiver: Receiver) -> None:
    for path in PATHS:
        receiver.answer(path, Reply(held=True))
    with sweepers(SHUTLINE_DELIVERY_TIMEOUT_SECONDS=str(TIMEOUT_SECONDS)) as both:
        for sweeper in both:
            sweeper.go()
        # Whoever came first has all its places taken and waits: the next one is the other's.
        wait_for_arrivals(receiver, PLACES + 1)
        receiver.release()
        shares = [sweeper.delivered() for sweeper in both]
    assert sum(shares) == DELIVERIES
    assert min(shares) > 0, "one of them did nothing"
    assert len(receiver.received) == DELIVERIES
    assert set(arrivals(receiver).values()) == {1}
    assert Attempt.objects.count() == DELIVERIES


@pytest.mark.usefixtures("backlog")
def test_only_what_a_killed_process_had_claimed_is_sent_again_and_after_its_lease(
    receiver: Receiver,
) -> None:
    for path in PATHS:
        receiver.answer(path, HANGS, QUICK)  # the answer to each path's first notice comes too late
    with sweepers(
        SHUTLINE_DELIVERY_LEASE_SECONDS=str(LEASE_SECONDS),
        SHUTLINE_DELIVERY_TIMEOUT_SECONDS=str(TIMEOUT_SECONDS),
    ) as (killed, survivor):
        killed.go()
        wait_for_arrivals(receiver, PLACES)
        held = arrivals(receiver)
        free_at = ends_of_leases()
        survivor.go()
        wait_for_arrivals(receiver, PLACES + 1)
        killed.kill()
        assert survivor.delivered() == DELIVERIES

    counts = arrivals(receiver)
    assert len(counts) == DELIVERIES
    assert {key for key, count in counts.items() if count > 1} == set(held)
    assert {counts[key] for key in held} == {2}
    for request in receiver.received[PLACES:]:
        if (request.path, request.event_id) in held:
            assert request.at >= free_at[request.path, request.event_id]
    assert Attempt.objects.count() == DELIVERIES
    assert not Delivery.objects.exclude(state=Delivery.State.DELIVERED).exists()


@pytest.fixture(params=FORMS)
def world(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[World]:
    with founded(request.param, tmp_path) as founded_world:
        founded_world.start()
        yield founded_world


@contextmanager
def second_beat(world: World) -> Iterator[None]:
    """Run another beat on the same queue, as `serve` refuses to do on one machine."""
    environment = world.environment_of(world.services["beat"].folder)
    with (world.folder / "second-beat.log").open("w") as log:
        process = subprocess.Popen(
            workers_command("beat"),
            cwd=ROOT,
            env={**environment, "PYTHONPATH": str(ROOT)},
            stderr=log,
        )
        try:
            yield
        finally:
            process.kill()
            process.wait()


def sweepers_in_the_queue(world: World) -> set[str]:
    """Return which processes put the sweeps there that wait in the queue."""
    heads = [message["headers"] for message in world.messages()]
    return {head["origin"] for head in heads if "sweep" in head["kwargsrepr"]}


def test_two_beats_with_one_worker_send_nothing_twice(world: World, receiver: Receiver) -> None:
    dealer = world.dealer()
    receiver.answer("/a", Reply(delay_seconds=0.1))
    endpoint = dealer.post("/webhook-endpoints", {"url": receiver.url("/a")}, status=201).json
    waiting = f"/webhook-endpoints/{endpoint['id']}/deliveries?state=waiting"

    def both_sweep() -> bool:
        return len(sweepers_in_the_queue(world)) == 2

    with second_beat(world):
        with world.frozen_worker():
            expected = post_batch(dealer, 0, ORDERS)
            wait_until(both_sweep, "a sweep of each beat")
        receiver.wait_for(len(expected), "/a")
        wait_until(lambda: not read_pages(dealer, waiting), "an end of deliveries")
        with world.frozen_worker():
            wait_until(both_sweep, "another sweep of each beat")
    notices = [request.verify(endpoint["secret"]) for request in receiver.at("/a")]
    arrived = [(notice["type"], notice["data"]["job"]["id"]) for notice in notices]
    assert sorted(arrived) == sorted(expected)
