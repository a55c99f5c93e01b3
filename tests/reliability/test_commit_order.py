"""A reader with a cursor misses nothing, in whatever order the transactions before it commit.

The readers poll the real service over HTTP; beside each stands a naive one, which goes by a number
or a time that is drawn before the commit. On PostgreSQL it misses what the real one gets.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

import pytest
from django.conf import settings
from django.db import connection, connections, transaction

from accounts.caller import Caller, Scope, Side
from accounts.models import Organisation
from accounts.services import key_add
from core.clock import now
from jobs.demo.client import Client
from jobs.work.calc.stages.machine import Stage
from jobs.work.inputs.orders.orders import WorkOrderInput
from jobs.work.models import Job
from jobs.work.services.orders.orders import work_order_receive
from jobs.work.services.stages.moves import stage_move
from notifications.models import Event
from tests.api.steps import arrived, moved
from tests.notifications.processes import address_of_the_test_database
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import Service, wait_until
from tests.reliability.world import on_postgres, orders
from tests.scene import Scene, make_scene

pytestmark = pytest.mark.django_db(transaction=True)
Value = TypeVar("Value")
on_servers = pytest.mark.servers
one_writer = pytest.mark.skipif(
    on_postgres, reason="SQLite lets one writer in at a time; PostgreSQL has tests of its own"
)


class Transaction:
    """A transaction on a connection of its own, which goes one step when it is told."""

    def __init__(self) -> None:
        self.thread = ThreadPoolExecutor(1)  # Django's connections belong to threads
        self.atomic = transaction.atomic()

    def start(self, work: Callable[[], Value]) -> Future[Value]:
        """Begin a step without waiting for its end."""
        return self.thread.submit(work)

    def do(self, work: Callable[[], Value]) -> Value:
        """Take a step and wait for its end."""
        return self.start(work).result(timeout=PATIENCE_SECONDS)

    def begin(self) -> None:
        """Begin, and have the database begin too: its snapshot and its place are taken."""
        self.atomic.__enter__()
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            if on_postgres:
                cursor.execute("SELECT pg_current_xact_id()")

    def commit(self) -> None:
        """Commit."""
        self.atomic.__exit__(None, None, None)


@contextmanager
def two_transactions() -> Iterator[tuple[Transaction, Transaction]]:
    """Return an early and a late one; what they leave open is rolled back."""
    both = (Transaction(), Transaction())
    try:
        yield both
    finally:
        for open_transaction in both:
            open_transaction.start(connections.close_all)
            open_transaction.thread.shutdown()


@pytest.fixture(scope="module")
def web(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Run the real web server on the tests' database, and no worker."""
    del django_db_setup
    environment = {
        "DATABASE_URL": address_of_the_test_database(),
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "SHUTLINE_REQUESTS_PER_MINUTE": "1000000",
        "SHUTLINE_FIELD_KEYS": ",".join(settings.FIELD_KEYS),
    }
    only_web = ("--only", "web", "--port", "0")
    folder = tmp_path_factory.mktemp("web")
    with Service(folder, *only_web, environment=environment) as service:
        service.wait_until_ready()
        yield service


@pytest.fixture
def scene(transactional_db: None) -> Scene:
    del transactional_db
    return make_scene()


@pytest.fixture
def dealer(web: Service, scene: Scene) -> Client:
    """Return the dealer's system, which has called before."""
    key = key_add(organisation=scene.dealer, name="stock", scopes=[str(Scope.READ)])
    client = Client(web.url, "The dealer's system", key.secret)
    # The first use of a key is written down, which on SQLite would wait for a writer.
    client.get("/ready")
    return client


class FeedReader:
    """Polls GET /events and keeps its cursor, as the documentation tells a dealer to."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.cursor = 0
        self.positions: list[int] = []
        self.jobs: list[str] = []

    def poll(self) -> None:
        page = self.client.get(f"/events?after={self.cursor}").json
        self.cursor = page["cursor"]
        self.positions += [event["position"] for event in page["events"]]
        self.jobs += [
            event["data"]["job"]["id"]
            for event in page["events"]
            if event["type"] == "work_order.received"
        ]


class NaiveFeedReader:
    """Takes the highest number it has seen for its cursor."""

    def __init__(self) -> None:
        self.cursor = 0
        self.jobs: list[str] = []

    def poll(self) -> None:
        for event in Event.objects.filter(number__gt=self.cursor).order_by("number"):
            self.cursor = event.number
            if event.type == "work_order.received":
                self.jobs.append(str(event.subject_id))


class ReadyReader:
    """Polls GET /ready and keeps its cursor."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.cursor = 0
        self.jobs: list[str] = []

    def poll(self) -> None:
        page = self.client.get(f"/ready?after={self.cursor}").json
        self.cursor = page["cursor"]
        self.jobs += [car["id"] for car in page["cars"]]


class NaiveReadyReader:
    """Takes the latest time at which a car became ready for its cursor."""

    def __init__(self) -> None:
        self.cursor: datetime | None = None
        self.jobs: list[str] = []

    def poll(self) -> None:
        cars = Job.objects.filter(ready_number__isnull=False)
        if self.cursor:
            cars = cars.filter(ready_at__gt=self.cursor)
        for car in cars.order_by("ready_at"):
            self.cursor = car.ready_at
            self.jobs.append(str(car.pk))


def poll(*readers: Any) -> None:
    for reader in readers:
        reader.poll()


def receive(dealer: Organisation, number: int) -> Callable[[], str]:
    """Return a step that takes an order in, with its events, and returns the job."""

    def step() -> str:
        form = WorkOrderInput(data=orders(number, 1)[0])
        form.is_valid(raise_exception=True)
        caller = Caller(dealer.pk, Side.DEALER, frozenset({Scope.ORDER}), "tests")
        return str(work_order_receive(caller=caller, order=form.validated_data).pk)

    return step


def to_ready(workshop: Organisation, job: Any) -> Callable[[], None]:
    """Return a step that moves a car to ready; the move was made at this moment."""
    caller = Caller(workshop.pk, Side.WORKSHOP, frozenset({Scope.WORK}), "tests")
    moment = now()

    def step() -> None:
        stage_move(
            caller=caller,
            job_id=UUID(job["id"]),
            to=Stage.READY,
            made_against=job["version"],
            occurred_at=moment,
            confirm=True,
        )

    return step


def two_cars_in_cleaning(scene: Scene) -> tuple[Any, Any]:
    cars = [arrived(scene, **order) for order in orders(0, 2)]
    first, second = (moved(scene.workshop_api(), car, "cleaning") for car in cars)
    return first, second


def somebody_waits_for_a_lock() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        (count,) = cursor.fetchone()
    return bool(count)


@on_servers
def test_the_feed_shows_an_event_whose_transaction_began_first_and_committed_last(
    scene: Scene, dealer: Client
) -> None:
    reader, naive = FeedReader(dealer), NaiveFeedReader()
    with two_transactions() as (early, late):
        early.do(early.begin)
        first = early.do(receive(scene.dealer, 1))
        late.do(late.begin)
        second = late.do(receive(scene.dealer, 2))
        poll(reader, naive)
        assert reader.jobs == naive.jobs == []
        late.do(late.commit)
        poll(reader, naive)
        assert reader.jobs == naive.jobs == [second]
        early.do(early.commit)
        poll(reader, naive)
    poll(reader, naive)
    assert reader.jobs == [second, first]
    assert reader.positions == sorted(set(reader.positions))
    assert len(reader.positions) == Event.objects.count()
    assert naive.jobs == [second], "by number, the first event is missed for good"


@on_servers
def test_the_second_car_waits_for_the_firsts_commit_and_the_cursor_passes_neither(
    scene: Scene, dealer: Client
) -> None:
    first, second = two_cars_in_cleaning(scene)
    reader = ReadyReader(dealer)
    with two_transactions() as (early, late):
        early.do(early.begin)
        early.do(to_ready(scene.workshop, first))
        late.do(late.begin)
        moving = late.start(to_ready(scene.workshop, second))
        wait_until(somebody_waits_for_a_lock, "the second at the dealer's row")
        poll(reader)
        assert reader.jobs == []
        assert not moving.done()
        early.do(early.commit)
        moving.result(timeout=PATIENCE_SECONDS)
        poll(reader)
        assert reader.jobs == [first["id"]]
        late.do(late.commit)
    poll(reader, reader)
    assert reader.jobs == [first["id"], second["id"]]


@on_servers
def test_ready_shows_a_car_whose_transaction_began_first_and_committed_last(
    scene: Scene, dealer: Client
) -> None:
    first, second = two_cars_in_cleaning(scene)
    reader, naive = ReadyReader(dealer), NaiveReadyReader()
    with two_transactions() as (early, late):
        early.do(early.begin)
        move_first = to_ready(scene.workshop, first)
        late.do(late.begin)
        late.do(to_ready(scene.workshop, second))
        late.do(late.commit)
        poll(reader, naive)
        assert reader.jobs == naive.jobs == [second["id"]]
        early.do(move_first)
        early.do(early.commit)
    poll(reader, naive)
    poll(reader, naive)
    assert reader.jobs == [second["id"], first["id"]]
    assert naive.jobs == [second["id"]], "by time, the first car is missed for good"


@one_writer
def test_on_sqlite_the_second_writer_waits_and_the_feed_has_both_events(
    scene: Scene, dealer: Client
) -> None:
    reader, naive = FeedReader(dealer), NaiveFeedReader()
    with two_transactions() as (early, late):
        early.do(early.begin)
        first = early.do(receive(scene.dealer, 1))
        beginning = late.start(late.begin)
        poll(reader, naive)
        assert reader.jobs == []
        assert not beginning.done()
        early.do(early.commit)
        beginning.result(timeout=PATIENCE_SECONDS)
        second = late.do(receive(scene.dealer, 2))
        poll(naive)
        late.do(late.commit)
        poll(reader, naive)
    poll(reader, naive)
    assert reader.jobs == [first, second]
    assert reader.positions == sorted(set(reader.positions))
    assert len(reader.positions) == Event.objects.count()
    assert naive.jobs == [first, second], "numbers follow the commits here"


@one_writer
def test_on_sqlite_the_second_writer_waits_and_ready_has_both_cars(
    scene: Scene, dealer: Client
) -> None:
    first, second = two_cars_in_cleaning(scene)
    reader = ReadyReader(dealer)
    with two_transactions() as (early, late):
        early.do(early.begin)
        early.do(to_ready(scene.workshop, first))
        beginning = late.start(late.begin)
        poll(reader)
        assert reader.jobs == []
        assert not beginning.done()
        early.do(early.commit)
        beginning.result(timeout=PATIENCE_SECONDS)
        late.do(to_ready(scene.workshop, second))
        poll(reader)
        assert reader.jobs == [first["id"]]
        late.do(late.commit)
    poll(reader, reader)
    assert reader.jobs == [first["id"], second["id"]]
