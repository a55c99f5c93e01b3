"""A database that makes everybody wait: the service says so in time, and says that it lives."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

from core.serving.parts import (
    IDLE_IN_TRANSACTION_SECONDS,
    WEB_WAITS,
    WORKER_WAITS,
    database_options,
)
from notifications.services.publish import PUBLISH_LOCK
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import get, wait_until
from tests.reliability.world import World, founded, post_batch

pytestmark = pytest.mark.servers
THREADS = 2


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    with founded("servers", tmp_path, SHUTLINE_WEB_THREADS=str(THREADS)) as founded_world:
        founded_world.start()
        yield founded_world


@contextmanager
def connected(world: World) -> Iterator[psycopg.Connection]:
    with psycopg.connect(world.environment["DATABASE_URL"], autocommit=True) as connection:
        yield connection


def waiting(connection: psycopg.Connection, name: str) -> int:
    """Return how many statements of a program wait for a lock."""
    found = connection.execute(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
        " AND application_name = %s AND wait_event_type = 'Lock'",
        [name],
    ).fetchone()
    assert found is not None
    return int(found[0])


def test_who_waits_for_a_lock_is_told_to_come_again_while_the_process_says_it_lives(
    world: World,
) -> None:
    dealer = world.dealer()
    with connected(world) as connection, ThreadPoolExecutor(THREADS) as pool:
        connection.execute("SELECT pg_advisory_lock(%s)", [PUBLISH_LOCK])
        post_batch(dealer, 1, 1)  # something that has no place in the feed yet
        polls = [pool.submit(dealer.expect, 503, "GET", "/events") for _ in range(THREADS)]
        wait_until(lambda: waiting(connection, "web") == THREADS, "every thread at the lock")
        assert get(f"{world.url}/healthz") == 200
        assert waiting(connection, "web") == THREADS, "it was answered without a thread"
        for poll in polls:
            answer = poll.result(timeout=PATIENCE_SECONDS)
            assert answer.headers["Retry-After"]
        connection.execute("SELECT pg_advisory_unlock(%s)", [PUBLISH_LOCK])
    dealer.get("/events")


@pytest.mark.parametrize(
    ("name", "waits"), [("web", WEB_WAITS), ("notices", WORKER_WAITS), ("work", WORKER_WAITS)]
)
def test_each_program_connects_with_its_own_limits(
    world: World, name: str, waits: dict[str, int]
) -> None:
    """As PostgreSQL has them of a connection begun with the environment of the program."""
    with psycopg.connect(
        world.environment["DATABASE_URL"], options=database_options(name)
    ) as connection:
        wanted = {**waits, "idle_in_transaction_session_timeout": IDLE_IN_TRANSACTION_SECONDS}
        for setting, seconds in wanted.items():
            found = connection.execute(
                "SELECT setting::int FROM pg_settings WHERE name = %s", [setting]
            ).fetchone()
            assert found == (1000 * seconds,)
