"""`manage.py serve` in the form with servers: each part by itself, on PostgreSQL and Redis."""

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis
from cryptography.fernet import Fernet
from psycopg import sql

from core.ids import new_id
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT, Service, clean_environment, get, wait_until
from tests.servers import postgres_url, redis_url

pytestmark = pytest.mark.servers

# Beside the one that other tests use and flush.
REDIS_DATABASE = 14


@pytest.fixture
def servers() -> Iterator[dict[str, str]]:
    """Return the settings for a fresh database and an empty queue; remove both afterwards."""
    postgres, broker = postgres_url(), redis_url()
    if not postgres or not broker:
        pytest.skip("neither PostgreSQL nor Redis may be missing")
    name = f"shutline_serve_{new_id().hex}"
    broker = urlunsplit(urlsplit(broker)._replace(path=f"/{REDIS_DATABASE}"))
    with psycopg.connect(postgres, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield {
            "DATABASE_URL": urlunsplit(urlsplit(postgres)._replace(path=f"/{name}")),
            "CELERY_BROKER_URL": broker,
            "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
        }
        connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
    with redis.Redis.from_url(broker) as client:
        client.flushdb()


@pytest.fixture
def migrated(servers: dict[str, str], tmp_path: Path) -> dict[str, str]:
    """Return the settings for a database that two have migrated at once."""
    two = [migrating(servers, tmp_path) for _ in range(2)]
    for process in two:
        output, _ = process.communicate(timeout=PATIENCE_SECONDS)
        assert process.returncode == 0, output
    return servers


def migrating(servers: dict[str, str], folder: Path) -> "subprocess.Popen[str]":
    """Start `manage.py migrate`."""
    return subprocess.Popen(
        [sys.executable, "manage.py", "migrate", "--verbosity", "0"],
        cwd=ROOT,
        env={**clean_environment(), "SHUTLINE_DATA_DIR": str(folder), **servers},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def test_a_part_refuses_a_database_that_is_older_and_says_what_to_run(
    servers: dict[str, str], tmp_path: Path
) -> None:
    with ExitStack() as stack:
        parts = [
            stack.enter_context(
                Service(tmp_path / part, "--only", part, "--port", "0", environment=servers)
            )
            for part in ("web", "worker", "beat")
        ]
        for part in parts:
            assert part.process.wait(timeout=PATIENCE_SECONDS) == 1
            errors = part.errors.read_text()
            assert "Run `manage.py migrate`" in errors
            assert "Traceback" not in errors
            assert not part.output.read_text()


def test_the_parts_make_one_ready_service_and_each_stops_cleanly(
    migrated: dict[str, str], tmp_path: Path
) -> None:
    servers = migrated
    with ExitStack() as stack:

        def start(name: str, *arguments: str) -> Service:
            service = Service(tmp_path / name, *arguments, environment=servers)
            return stack.enter_context(service)

        webs = [start(f"web{n}", "--only", "web", "--port", "0") for n in range(2)]
        for web in webs:
            web.wait_until_ready()
        assert get(f"{webs[0].url}/readyz") == 503, "nobody sweeps yet"
        background_services = [start("worker", "--only", "worker"), start("beat", "--only", "beat")]
        for web in webs:
            wait_until(lambda web=web: get(f"{web.url}/readyz") == 200, "readiness")  # type: ignore[misc]
        for service in (*background_services, *webs):
            assert service.stop(signal.SIGTERM) == 0
            assert not service.processes()
            assert "Traceback" not in service.errors.read_text()


def test_a_part_with_other_field_keys_does_not_start(
    migrated: dict[str, str], tmp_path: Path
) -> None:
    servers = migrated
    with ExitStack() as stack:
        web = Service(tmp_path / "web", "--only", "web", "--port", "0", environment=servers)
        stack.enter_context(web).wait_until_ready()
        others = {**servers, "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode()}
        worker = Service(tmp_path / "worker", "--only", "worker", environment=others)
        stack.enter_context(worker)
        assert worker.process.wait(timeout=PATIENCE_SECONDS) == 1
        errors = worker.errors.read_text()
        assert "not among SHUTLINE_FIELD_KEYS" in errors
        assert "Traceback" not in errors
