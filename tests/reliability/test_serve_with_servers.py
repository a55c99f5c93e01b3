"""`manage.py serve` in the form with servers: each part by itself, on PostgreSQL and Redis."""

import signal
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
from tests.reliability.service import Service, get, wait_until
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


def test_the_parts_make_one_ready_service_and_each_stops_cleanly(
    servers: dict[str, str], tmp_path: Path
) -> None:
    with ExitStack() as stack:

        def start(name: str, *arguments: str) -> Service:
            service = Service(tmp_path / name, *arguments, environment=servers)
            return stack.enter_context(service)

        # Two at once: one of them migrates, the other waits for it.
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
    servers: dict[str, str], tmp_path: Path
) -> None:
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
