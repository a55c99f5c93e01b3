"""What every test may use: two dealers, two workshops, their systems and their people."""

from collections.abc import Iterator
from contextlib import ExitStack
from types import SimpleNamespace

import pytest
from django.conf import settings as django_settings
from django.core.signals import request_finished
from django.db import connection
from django.test import TransactionTestCase
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from accounts.api import throttling
from accounts.api.throttling import COUNTER
from jobs.work.services.jobs.forgetting import history_may_go
from tests import servers
from tests.scene import Scene, make_scene

hypothesis_settings.register_profile(
    "shutline",
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
hypothesis_settings.load_profile("shutline")


SLOW = {"browser", "reliability"}


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip, with a reason, what this machine or this run cannot do; what waits longest goes first.

    Files that start services and browsers then end beside the many short ones, not after them.
    """
    if not config.pluginmanager.hasplugin("randomly"):
        items.sort(key=lambda item: item.path.parent.name not in SLOW)
    on_postgres = django_settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
    for item in items:
        if item.get_closest_marker("servers") and not on_postgres:
            item.add_marker(pytest.mark.skip(reason="runs on PostgreSQL and Redis only"))
        if item.get_closest_marker("browser") and servers.chromium_path() is None:
            item.add_marker(pytest.mark.skip(reason="Chromium is not installed"))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print plainly what was left out."""
    for sentence in servers.left_out():
        terminalreporter.write_line(sentence)


@pytest.fixture(scope="session", autouse=True)
def emptied_tables() -> Iterator[None]:
    """Open history while a test's tables are emptied, which on SQLite is a DELETE."""
    teardown = "_fixture_teardown"  # Django has no other place for it
    empty = getattr(TransactionTestCase, teardown)

    def emptying(self: TransactionTestCase) -> None:
        with ExitStack() as stack:
            if connection.vendor == "sqlite":
                stack.enter_context(history_may_go())
            empty(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, teardown, emptying)
        yield


@pytest.fixture
def scene(db: None) -> Scene:
    """Return a workshop with a dealer, and another workshop with another dealer."""
    del db
    return make_scene()


@pytest.fixture(autouse=True)
def fresh_limits() -> Iterator[None]:
    """Forget the requests that earlier tests made."""
    COUNTER.clear()
    yield
    COUNTER.clear()


@pytest.fixture
def still_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep requests counted within one minute, however long the test takes."""
    monkeypatch.setattr(throttling, "time", SimpleNamespace(time=lambda: 1_000_000_035.0))


@pytest.fixture(autouse=True)
def requests_count_apart() -> Iterator[None]:
    """Have each request raise the count of its pages, as if the test were not one transaction."""

    def forget(**_: object) -> None:
        if connection.vendor == "postgresql" and connection.in_atomic_block:
            connection.connection.execute("SET LOCAL accounts.pages_raised = ''")

    request_finished.connect(forget)
    yield
    request_finished.disconnect(forget)
