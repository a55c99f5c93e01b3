"""A service of a test's own with a dealer in it, embedded or on servers, and what breaks it.

A run of the tests on SQLite tries the embedded form, a run on PostgreSQL the one with servers.
"""

import json
import os
import secrets
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis
from cryptography.fernet import Fernet
from django.conf import settings
from psycopg import sql

from core.ids import new_id
from core.serving.parts import NAMES
from jobs.demo.client import API, Client
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import (
    ROOT,
    Service,
    clean_environment,
    get,
    state,
    wait_until,
    with_tables,
)
from tests.scene import order
from tests.servers import postgres_url, redis_url

on_postgres = settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
FORMS = [pytest.param("servers", marks=pytest.mark.servers) if on_postgres else "embedded"]

QUEUE = "notices"
# Beside the one to which tests without a service of their own send their wake-ups.
REDIS_DATABASE = 13
# Whoever holds it has that Redis database to itself, whatever else runs on this machine.
REDIS_LOCK = 7_305_990_013
# No vowels, so that no mark spells anything.
LETTERS = "BCDFGHJKLM"

COMMON = {
    "SHUTLINE_ALLOW_PLAIN_HTTP": "1",
    "SHUTLINE_OPEN_NETWORKS": "127.0.0.0/8",
    "SHUTLINE_REQUESTS_PER_MINUTE": "1000000",
    "SHUTLINE_SWEEP_SECONDS": "1",
}
# In a process of its own: the service's database is not the one that the test's Django uses.
FOUND = """
import django
django.setup()
import json
from django.core.management import call_command
from accounts.services import dealer_add, key_add, workshop_add
from tests.scene import DEALER_SCOPES
from tests.patience import PATIENCE_SECONDS
call_command("migrate", interactive=False, verbosity=0)
account = dealer_add(name="Brackmoor Cars", workshop=workshop_add(name="Fernhollow Valeting"))
key = key_add(organisation=account.dealer, name="stock", scopes=[str(one) for one in DEALER_SCOPES])
print(json.dumps(key.secret))
"""


@dataclass(slots=True)
class World:
    """A service, not started yet, whose database holds one dealer with its workshop."""

    folder: Path
    environment: dict[str, str]
    on_servers: bool
    key: str = ""
    services: dict[str, Service] = field(default_factory=dict)
    # Further settings of single parts, where each is a service by itself.
    of_part: dict[str, dict[str, str]] = field(default_factory=dict)
    running: ExitStack = field(default_factory=ExitStack)

    def __enter__(self) -> Self:
        if not self.on_servers:
            (self.folder / "embedded").mkdir(exist_ok=True)
            with_tables(self.folder / "embedded")
        self.key = json.loads(self.python("-c", FOUND))
        return self

    def __exit__(self, *_: object) -> None:
        self.running.close()

    def python(self, *arguments: str) -> str:
        """Run Python in the service's environment and return what it printed."""
        folder = self.folder / "embedded"
        folder.mkdir(exist_ok=True)
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.environment_of(folder),
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            timeout=PATIENCE_SECONDS,
        )
        return done.stdout

    def environment_of(self, folder: Path) -> dict[str, str]:
        """Return the whole environment of a program of the service."""
        mine = {"SHUTLINE_DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "core.settings"}
        return {**clean_environment(), **mine, **self.environment}

    def start(self) -> None:
        """Start the service, and wait until a sweep has been through beat, queue and worker.

        On servers each part is a service by itself, as on machines of their own.
        """
        if self.on_servers:
            for part in NAMES:
                self.services[part] = self._begin(part, "--only", part)
        else:
            self.services = dict.fromkeys(NAMES, self._begin("embedded"))
        for service in self.services.values():
            service.wait_until_ready()
        wait_until(lambda: get(f"{self.url}/readyz") == 200, "readiness")

    def restart(self, part: str) -> None:
        """Start again what a part ran in, once that has ended."""
        if not self.on_servers:
            return self.start()
        self.services[part] = self._begin(part, "--only", part)
        return self.services[part].wait_until_ready()

    def _begin(self, name: str, *arguments: str) -> Service:
        own = self.of_part.get(name, {})
        environment = {**self.environment, "PGAPPNAME": name, **own}
        service = Service(self.folder / name, "--port", "0", *arguments, environment=environment)
        return self.running.enter_context(service)

    @property
    def url(self) -> str:
        """Return where the service answers."""
        return self.services["web"].url

    def dealer(self) -> Client:
        """Return the dealer's system."""
        return Client(self.url, "The dealer's system", self.key)

    def log(self, part: str) -> str:
        """Return what a part of the service has logged."""
        return self.services[part].errors.read_text()

    # --- the worker ------------------------------------------------------------------------

    def worker(self) -> int:
        """Return the worker's leading process, once there is one with children to do the work."""

        def found() -> int | None:
            leader = self.services["notices"].leader("notices")
            return leader if leader and len(self.services["notices"].group(leader)) > 1 else None

        wait_until(found, "a worker")
        return found() or 0

    def kill_worker(self) -> None:
        """Kill the worker and its children at once, and wait until they are gone."""
        leader = self.worker()
        group = self.services["notices"].group(leader)
        for pid in (leader, *group - {leader}):
            with suppress(ProcessLookupError):  # its end was the leader's
                os.kill(pid, signal.SIGKILL)
        wait_until(lambda: all(state(pid) in {"gone", "Z"} for pid in group), "the worker's end")

    @contextmanager
    def frozen_worker(self) -> Iterator[None]:
        """Keep the worker from taking anything out of the queue; what it is at, it may end."""
        leader = self.worker()
        os.kill(leader, signal.SIGSTOP)
        wait_until(lambda: state(leader) == "T", "a frozen worker")
        # Redis still hands one message to a worker that waited for it: a sweep, until one stays.
        wait_until(self.messages, "a sweep that nobody takes")
        try:
            yield
        finally:
            os.kill(leader, signal.SIGCONT)

    @contextmanager
    def frozen_children(self) -> Iterator[None]:
        """Stop the worker's children; its leader goes on taking messages, as many as it may."""
        leader = self.worker()
        children = self.services["notices"].group(leader) - {leader}
        for child in children:
            os.kill(child, signal.SIGSTOP)
        wait_until(lambda: all(state(child) == "T" for child in children), "frozen children")
        try:
            yield
        finally:
            for child in children:
                os.kill(child, signal.SIGCONT)

    def cut_connections(self) -> int:
        """End the worker's connections to PostgreSQL from the server's side; return how many."""
        with psycopg.connect(self.environment["DATABASE_URL"], autocommit=True) as connection:
            found = connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND application_name IN ('notices', 'work')"
            )
            return len(found.fetchall())

    # --- the queue -------------------------------------------------------------------------

    @property
    def queue_folder(self) -> Path:
        """Return where the embedded form keeps its queue."""
        return self.folder / "embedded" / "queue"

    def messages(self) -> list[Any]:
        """Return what is in the queue."""
        if self.on_servers:
            with self._redis() as client:
                found: Any = client.lrange(QUEUE, 0, -1)
        else:
            found = [_text(path) for path in (self.queue_folder / QUEUE).glob("*.message")]
        return [json.loads(text) for text in found if text]

    def empty_queue(self) -> None:
        """Take everything out of the queue and everything that its broker knows."""
        if self.on_servers:
            with self._redis() as client:
                client.flushdb()
            return
        for path in self.queue_folder.rglob("*"):
            if path.is_file():
                path.unlink(missing_ok=True)

    def _redis(self) -> "redis.Redis":
        return redis.Redis.from_url(self.environment["CELERY_BROKER_URL"])


@contextmanager
def founded(form: str, folder: Path, **changes: str) -> Iterator[World]:
    """Make a world in a folder, its service not started, with changes to its settings."""
    with unfounded(form, folder, **changes) as world, world:
        yield world


@contextmanager
def unfounded(form: str, folder: Path, **changes: str) -> Iterator[World]:
    """Make a world whose database is empty, without a table."""
    keys = {
        "SHUTLINE_SECRET_KEY": secrets.token_urlsafe(48),
        "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
    }
    with ExitStack() as stack:
        servers = stack.enter_context(own_servers()) if form == "servers" else {}
        environment = {**COMMON, **keys, **servers, **changes}
        yield World(folder, environment, on_servers=form == "servers")


@contextmanager
def own_servers() -> Iterator[Mapping[str, str]]:
    """Lend a fresh PostgreSQL database and an empty Redis database; skip where there are none."""
    postgres, broker = postgres_url(), redis_url()
    if not postgres or not broker:
        pytest.skip("neither PostgreSQL nor Redis may be missing")
    broker = urlunsplit(urlsplit(broker)._replace(path=f"/{REDIS_DATABASE}"))
    name = f"shutline_reliability_{new_id().hex}"
    with (
        psycopg.connect(postgres, autocommit=True) as connection,
        redis.Redis.from_url(broker) as client,
    ):
        connection.execute("SELECT pg_advisory_lock(%s)", [REDIS_LOCK])
        client.flushdb()
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield {
                "DATABASE_URL": urlunsplit(urlsplit(postgres)._replace(path=f"/{name}")),
                "CELERY_BROKER_URL": broker,
            }
        finally:
            connection.execute(
                sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name))
            )
            client.flushdb()


def _text(path: Path) -> str:
    try:
        return path.read_text()
    except FileNotFoundError:
        return ""  # the worker has just taken it


def orders(first: int, count: int) -> list[dict[str, Any]]:
    """Return that many work orders for different cars, numbered on from `first`, below 1000."""
    numbers = range(first, first + count)
    return [
        order(
            dealer_ref=f"PX-{number}",
            registration="TU21 " + "".join(LETTERS[int(digit)] for digit in f"{number:03}"),
        )
        for number in numbers
    ]


def post_batch(client: Client, first: int, count: int) -> set[tuple[str, str]]:
    """Post a batch of work orders; return which notices follow, each as its type and its job."""
    answer = client.post("/work-orders/batch", {"work_orders": orders(first, count)}).json
    assert answer["received"] == count, answer
    jobs = [line["job_id"] for line in answer["lines"]]
    kinds = ("work_order.received", "work_order.accepted")
    return {(kind, job) for job in jobs for kind in kinds}


def read_pages(client: Client, path: str) -> list[dict[str, Any]]:
    """Return every row of a list that comes in pages."""
    found: list[dict[str, Any]] = []
    page = client.get(path).json
    while True:
        found += page["results"]
        if not page["next"]:
            return found
        page = client.get(page["next"].partition(API)[2]).json


def read_feed(client: Client, after: int = 0, page: int = 50) -> list[dict[str, Any]]:
    """Page through the feed of events by its cursor, from behind `after` to the end."""
    found: list[dict[str, Any]] = []
    while True:
        answer = client.get(f"/events?after={after}&limit={page}").json
        if not answer["events"]:
            return found
        found += answer["events"]
        after = answer["cursor"]
