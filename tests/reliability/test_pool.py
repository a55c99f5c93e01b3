"""The pool of a web process: bounded, with the limits of its program, and whole after a restart."""

import json
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

from core.serving.parts import WEB_WAITS
from tests.patience import PATIENCE_SECONDS
from tests.reliability.own_postgres import OwnPostgres
from tests.reliability.service import ROOT, Service, clean_environment, get, migrate, wait_until
from tests.reliability.world import own_servers

THREADS, CONNECTIONS, BESIDE = 6, 2, 1
SETTINGS = {
    "SHUTLINE_WEB_THREADS": str(THREADS),
    "SHUTLINE_WEB_CONNECTIONS": str(CONNECTIONS),
    "PGAPPNAME": "web",
}
MINE = "FROM pg_stat_activity WHERE datname = current_database() AND application_name = 'web'"
# What the processes of each program do before they take anything.
WORKER = """
from core.serving.workers import load
load()
from django.db import connection
print(connection.pool, connection.settings_dict["CONN_MAX_AGE"])
"""
WEB = """
import core.serving.web
from django.db import connection
with connection.cursor() as cursor:
    cursor.execute("SELECT current_setting('statement_timeout'), current_setting('lock_timeout')")
    print(connection.pool.max_size, *cursor.fetchone())
connection.close()
connection.close_pool()
"""

pytestmark = pytest.mark.servers


@contextmanager
def web(folder: Path, url: str) -> Iterator[Service]:
    """Run a web server on a database."""
    environment = {**SETTINGS, "DATABASE_URL": url}
    migrate({**environment, "SHUTLINE_DATA_DIR": str(folder)})
    with Service(
        folder / "web", "--only", "web", "--port", "0", environment=environment
    ) as service:
        service.wait_until_ready()
        yield service


def printed(code: str, environment: dict[str, str]) -> str:
    """Return what Python prints in the environment of a part."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**clean_environment(), **environment},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=PATIENCE_SECONDS,
    )
    return done.stdout.strip()


def test_web_processes_pool_with_their_limits_and_processes_that_fork_do_not(
    tmp_path: Path,
) -> None:
    with own_servers() as servers:
        common = {**SETTINGS, **servers, "SHUTLINE_DATA_DIR": str(tmp_path)}
        common["CELERY_SKIP_CHECKS"] = "1"
        assert printed(WORKER, common) == "None 600"
        options = " ".join(f"-c {name}={seconds}s" for name, seconds in WEB_WAITS.items())
        found = printed(WEB, {**common, "PGOPTIONS": options})
        assert found == f"{CONNECTIONS + BESIDE} 30s 5s"


def database_answers(service: Service) -> bool:
    """Return whether the service reads from its database, as /readyz says it."""
    url = f"{service.url}/readyz"
    try:
        with urllib.request.urlopen(url, timeout=PATIENCE_SECONDS) as answer:  # noqa: S310  always http
            body = json.load(answer)
    except urllib.error.HTTPError as error:  # there are no workers, so it is never ready
        with error:
            body = json.load(error)
    return bool(body["probes"]["database"]["good"])


def test_a_pool_is_never_larger_than_it_may_be_and_outlives_its_server(tmp_path: Path) -> None:
    with OwnPostgres() as postgres, web(tmp_path, postgres.url) as service:
        with (
            psycopg.connect(postgres.url, autocommit=True) as connection,
            ThreadPoolExecutor(THREADS) as threads,
        ):
            asked = [threads.submit(database_answers, service) for _ in range(4 * THREADS)]
            seen = set()
            while not all(one.done() for one in asked):
                ((count,),) = connection.execute(f"SELECT count(*) {MINE}").fetchall()
                seen.add(count)
            assert all(one.result() for one in asked)
        assert 1 < max(seen) <= CONNECTIONS + BESIDE
        postgres.stop()
        assert not database_answers(service)
        assert get(f"{service.url}/healthz") == 200
        postgres.start_again()
        wait_until(lambda: database_answers(service), "the database, again")
        assert all(database_answers(service) for _ in range(2 * THREADS)), "none that is broken"
        assert "program_died" not in service.errors.read_text()
