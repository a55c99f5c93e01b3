"""Without its broker the service takes orders as quickly, and sends every notice later."""

import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import redis

from jobs.demo.client import Client
from tests import servers
from tests.notifications.receiver import Receiver
from tests.reliability.service import state, wait_until
from tests.reliability.world import FORMS, World, founded, on_postgres, orders, read_feed

ORDERS = 5
PATH = "/notices"


class OwnRedis:
    """A Redis of this test's own, to be killed and started again on its port, or frozen."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.process = self._start()

    def _start(self) -> "subprocess.Popen[bytes]":
        process = subprocess.Popen(
            [
                *("redis-server", "--bind", "127.0.0.1", "--port", str(self.port)),
                *("--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction"),
                *("--dir", str(self.folder)),
            ],
            stdout=subprocess.DEVNULL,
        )
        wait_until(self._answers, "Redis")
        return process

    def _answers(self) -> bool:
        with redis.Redis.from_url(self.url) as client:
            try:
                return bool(client.ping())
            except redis.ConnectionError:
                return False

    def kill(self) -> None:
        """End it: its port refuses connections."""
        self.process.kill()
        self.process.wait()

    def start_again(self) -> None:
        """Start it empty on the same port."""
        self.process = self._start()

    def freeze(self) -> None:
        """Stop it where it stands: its port takes connections, and never answers."""
        self.process.send_signal(signal.SIGSTOP)
        wait_until(lambda: state(self.process.pid) == "T", "a frozen Redis")

    def thaw(self) -> None:
        """Continue it where it stopped."""
        self.process.send_signal(signal.SIGCONT)

    def limit(self, size: int) -> None:
        """Set the bytes from which on it takes nothing more in; 0 is no limit."""
        with redis.Redis.from_url(self.url) as client:
            client.config_set("maxmemory", size)


@pytest.fixture(scope="module")
def own_redis(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OwnRedis | None]:
    if not on_postgres:
        yield None
        return
    if shutil.which("redis-server") is None:
        servers.refuse_absence("redis-server", named=False, why="it is not installed")
        pytest.skip("redis-server is not installed here")
    server = OwnRedis(tmp_path_factory.mktemp("redis"))
    yield server
    server.kill()


@pytest.fixture(scope="module", params=FORMS)
def world(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    own_redis: OwnRedis | None,
) -> Iterator[World]:
    broker = {"CELERY_BROKER_URL": own_redis.url} if own_redis else {}
    with founded(request.param, tmp_path_factory.mktemp("world"), **broker) as founded_world:
        founded_world.start()
        yield founded_world


@contextmanager
def killed(_: World, own_redis: OwnRedis) -> Iterator[None]:
    own_redis.kill()
    try:
        yield
    finally:
        own_redis.start_again()


@contextmanager
def silent(_: World, own_redis: OwnRedis) -> Iterator[None]:
    own_redis.freeze()
    try:
        yield
    finally:
        own_redis.thaw()


@contextmanager
def full(_: World, own_redis: OwnRedis) -> Iterator[None]:
    own_redis.limit(1)
    try:
        yield
    finally:
        own_redis.limit(0)


@contextmanager
def unwritable(world: World, _: object) -> Iterator[None]:
    """Put a file in the folder's place, which stops even a user who may write everywhere."""
    folder = world.queue_folder

    def replaced() -> bool:
        shutil.rmtree(folder, ignore_errors=True)
        try:
            folder.touch(exist_ok=False)
        except FileExistsError:
            return False  # the service was quicker and has made it again
        return True

    wait_until(replaced, "a file in the folder's place")
    try:
        yield
    finally:
        folder.unlink()


OUTAGES = [killed, silent, full] if on_postgres else [unwritable]


@pytest.fixture
def dealer(world: World, receiver: Receiver) -> Iterator[Client]:
    """Return the dealer's system, whose notices go to the receiver while the test lasts."""
    client = world.dealer()
    endpoint = client.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201).json
    yield client
    client.expect(204, "DELETE", f"/webhook-endpoints/{endpoint['id']}")


def post(dealer: Client, first: int, count: int = 1) -> None:
    """Post orders one by one."""
    for body in orders(first, count):
        dealer.post("/work-orders", body, status=201)


def ids_at(receiver: Receiver) -> list[str]:
    return sorted(request.event_id for request in receiver.at(PATH))


def end_of_feed(dealer: Client) -> int:
    return max((entry["position"] for entry in read_feed(dealer)), default=0)


def wake_ups(world: World) -> int:
    """Count the wake-ups in the queue that are not beat's."""
    heads = [message["headers"] for message in world.messages()]
    return sum(
        head["task"] == "notifications.tasks.deliver_due" and "sweep" not in head["kwargsrepr"]
        for head in heads
    )


@pytest.mark.parametrize("outage", OUTAGES)
def test_an_order_is_taken_at_once_without_a_broker_and_its_notices_come_by_the_sweep(
    world: World, own_redis: Any, receiver: Receiver, dealer: Client, outage: Any
) -> None:
    first = 100 * OUTAGES.index(outage)
    post(dealer, first)  # from now on the web server has a connection that can break
    receiver.wait_for(2, PATH)
    before, lost_before = end_of_feed(dealer), world.log("web").count("wake_up_lost")
    worker = world.worker()
    with outage(world, own_redis):
        post(dealer, first + 1, ORDERS)  # each is answered while the broker is away
        stored = read_feed(dealer, before)
        assert len(stored) == 2 * ORDERS
        wait_until(
            lambda: world.log("web").count("wake_up_lost") > lost_before, "word of a lost wake-up"
        )
    receiver.wait_for(2 + 2 * ORDERS, PATH)
    assert {entry["id"] for entry in stored} <= set(ids_at(receiver))
    assert len(ids_at(receiver)) == 2 + 2 * ORDERS, "none came twice"
    assert world.worker() == worker, "it was not to die of it"
    with world.frozen_worker():
        post(dealer, first + 1 + ORDERS)
        wait_until(lambda: wake_ups(world), "wake-ups as before")
    receiver.wait_for(2 + 2 * ORDERS + 2, PATH)


@pytest.mark.servers
def test_a_broker_that_dies_before_the_worker_can_acknowledge_does_not_leave_it_idle_for_good(
    world: World, own_redis: Any, receiver: Receiver, dealer: Client
) -> None:
    worker, given_up = world.worker(), world.log("notices").count("Couldn't ack")
    with world.frozen_children():
        post(dealer, 600)
        # Messages are acknowledged when a child begins with them: the worker holds all it may.
        wait_until(world.messages, "messages that the worker does not take")
        own_redis.kill()
    try:
        wait_until(
            lambda: world.log("notices").count("Couldn't ack") > given_up, "acknowledging in vain"
        )
    finally:
        own_redis.start_again()
    post(dealer, 601)
    receiver.wait_for(4, PATH)
    assert world.worker() == worker, "it was not to die of it"


def test_an_emptied_queue_costs_time_and_no_notice(
    world: World, receiver: Receiver, dealer: Client
) -> None:
    def wiped() -> bool:
        world.empty_queue()
        return not wake_ups(world)

    before = end_of_feed(dealer)
    with world.frozen_worker():
        post(dealer, 500, ORDERS)
        wait_until(lambda: wake_ups(world), "wake-ups in the queue")
        wait_until(wiped, "an empty queue")
    receiver.wait_for(2 * ORDERS, PATH)
    assert ids_at(receiver) == sorted(entry["id"] for entry in read_feed(dealer, before))
