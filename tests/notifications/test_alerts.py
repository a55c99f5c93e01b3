"""The alert rules: each names numbers that there are, is quiet when all is well, and can fire.

Every fault is real: a database that cannot be reached, a queue that refuses, a mail server that is
not there. The numbers are read as Prometheus reads them, over HTTP, before and after.
"""

import http.client
import re
import socket
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml
from celery import current_app
from django.conf import settings as django_settings
from django.core.files.base import ContentFile
from django.db import connection, connections
from django.test import Client
from kombu import Connection
from pytest_django import Settings

from accounts.models import Organisation
from core.clock import now
from core.env import split_place
from core.health import service_numbers
from core.ids import new_id
from core.models import Sweep
from core.periodic import SCHEDULE
from core.serving.numbers import NumbersServer
from core.stores import FolderStore
from core.sweeps import GRACE_SECONDS
from notifications.engine.run import deliver
from notifications.models import Delivery, Endpoint, Event
from notifications.services.publish import events_publish
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.promql import Scrape, fires, names_in
from tests.patience import PATIENCE_SECONDS

pytestmark = pytest.mark.django_db(transaction=True)

FILE = Path(__file__).resolve().parents[2] / "core" / "alerts.yml"
RULES: dict[str, dict[str, Any]] = {
    rule["alert"]: rule
    for group in yaml.safe_load(FILE.read_text(encoding="utf-8"))["groups"]
    for rule in group["rules"]
}
BETWEEN_SECONDS = 60.0


@dataclass(slots=True)
class Stage:
    """The service in this process, and the means to break it."""

    server: NumbersServer
    settings: Settings
    patch: pytest.MonkeyPatch
    add_endpoint: AddEndpoint
    add_event: AddEvent

    def scrape(self, at_seconds: float) -> Scrape:
        """Read the numbers; nothing where nobody answers."""
        link = http.client.HTTPConnection(
            "127.0.0.1", self.server.server_port, timeout=PATIENCE_SECONDS
        )
        try:
            link.request("GET", "/metrics")
            answer = link.getresponse()
            assert answer.status == 200
            return Scrape.of(answer.read().decode(), at_seconds)
        except ConnectionRefusedError:
            return Scrape(at_seconds, {})
        finally:
            link.close()


@pytest.fixture
def stage(
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
) -> Iterator[Stage]:
    """Set up a service in which all is well, with its numbers at an address."""
    for entry in SCHEDULE.values():
        name = entry["task"].rpartition(".")[2]
        Sweep.objects.create(name=name, last_run_at=now(), first_run_at=now())
    with NumbersServer("127.0.0.1", 0, service_numbers) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield Stage(server, settings, monkeypatch, add_endpoint, add_event)
        server.shutdown()
        thread.join()


def closed_place() -> str:
    """Return an address where nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return f"127.0.0.1:{probe.getsockname()[1]}"


def end_the_service(stage: Stage) -> None:
    stage.server.shutdown()
    stage.server.server_close()


def lose_the_database(stage: Stage) -> None:
    """Have every new connection go where there is no database."""
    place = connections.databases["default"]
    if connection.vendor == "postgresql":
        stage.patch.setitem(place, "PORT", str(split_place(closed_place())[1]))
    else:
        stage.patch.setitem(place, "NAME", "/nowhere/shutline.sqlite3")


def lose_the_queue(stage: Stage) -> None:
    link = Connection(f"redis://{closed_place()}/0")
    stage.patch.setattr(current_app, "connection_for_write", lambda: link)


def let_a_sweep_be_late(_stage: Stage) -> None:
    late = now() - timedelta(seconds=3600 + GRACE_SECONDS + 1)
    Sweep.objects.filter(name="purge_idempotent_answers").update(last_run_at=late)


def leave_a_notice_lying(stage: Stage) -> None:
    stage.add_endpoint("http://127.0.0.1:9/")
    stage.add_event()
    events_publish()
    Delivery.objects.update(next_attempt_at=now() - timedelta(seconds=200))


def leave_an_event_lying(stage: Stage) -> None:
    stage.add_event()
    Event.objects.update(recorded_at=now() - timedelta(seconds=200))


def let_endpoints_fail(stage: Stage) -> None:
    """Let the systems of three organisations be unreachable, as the engine finds them."""
    for number in range(3):
        owner = Organisation.objects.create(kind="dealer", name=f"Yard {number}")
        stage.add_endpoint(f"http://{closed_place()}/", organisation=owner)
        stage.add_event(dealer_id=owner.pk)
    deliver()
    assert Endpoint.objects.filter(failing_since__isnull=False).count() == 3


def fill_the_disk(stage: Stage) -> None:
    full = Path("/proc")  # a file system with no room at all
    if not full.is_dir():
        pytest.skip("needs Linux's /proc")
    stage.settings.DATA_DIR = full


def let_requests_fail(stage: Stage) -> None:
    """Ask for a page while there is no database."""
    lose_the_database(stage)

    def ask() -> int:
        try:
            client = Client(raise_request_exception=False)
            client.cookies[django_settings.SESSION_COOKIE_NAME] = "drizzle0and0dust0" * 2
            return client.get("/dashboard/").status_code
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as other_thread:  # whose connection is a new one
        assert other_thread.submit(ask).result() >= 500


def lose_the_mail_server(stage: Stage) -> None:
    host, port = split_place(closed_place())
    stage.settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    stage.settings.EMAIL_HOST, stage.settings.EMAIL_PORT = host, port
    stage.add_endpoint("stock@harrowlane.example", channel=Endpoint.Channel.EMAIL)
    stage.add_event()
    deliver()


def lose_the_store(_stage: Stage) -> None:
    with pytest.raises(OSError, match="/dev/null"):
        FolderStore("/dev/null/photos").save(f"{new_id()}.jpg", ContentFile(b"a picture"))


FAULTS: list[tuple[str, Callable[[Stage], None]]] = [
    ("ShutlineSilent", end_the_service),
    ("ShutlineDatabaseSilent", lose_the_database),
    ("ShutlineQueueSilent", lose_the_queue),
    ("ShutlineSweepLate", let_a_sweep_be_late),
    ("ShutlineNoticesLate", leave_a_notice_lying),
    ("ShutlineNoticesLate", leave_an_event_lying),
    ("ShutlineEndpointsFail", let_endpoints_fail),
    ("ShutlineDiskLow", fill_the_disk),
    ("ShutlineRequestsFail", let_requests_fail),
    ("ShutlineEmailFails", lose_the_mail_server),
    ("ShutlineStoreFails", lose_the_store),
]


@pytest.mark.parametrize(("name", "fault"), FAULTS)
def test_a_rule_is_quiet_when_all_is_well_and_fires_on_its_fault(
    name: str, fault: Callable[[Stage], None], stage: Stage
) -> None:
    Client().get("/sign-in")
    expression = RULES[name]["expr"]
    before = stage.scrape(0.0)
    well = stage.scrape(BETWEEN_SECONDS)
    assert not fires(expression, before, well)
    fault(stage)
    assert fires(expression, before, stage.scrape(BETWEEN_SECONDS))


def test_every_rule_has_a_fault_and_there_are_ten() -> None:
    assert {name for name, _ in FAULTS} == set(RULES)
    assert len(RULES) == 10


def test_every_number_that_a_rule_names_is_there(stage: Stage) -> None:
    Client().get("/sign-in")
    there = stage.scrape(0.0).samples
    for rule in RULES.values():
        named = names_in(rule["expr"])
        assert named
        assert named <= there.keys(), rule["alert"]


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_each_rule_says_what_is_wrong_and_what_to_do(rule: dict[str, Any]) -> None:
    assert set(rule) == {"alert", "expr", "for", "labels", "annotations"}
    assert re.fullmatch(r"[1-9]\d*m", rule["for"])
    assert rule["labels"] in ({"severity": "critical"}, {"severity": "warning"})
    assert set(rule["annotations"]) == {"summary", "action"}
    for sentence in rule["annotations"].values():
        assert sentence[0].isupper() or sentence.startswith("/")
        assert sentence.endswith(".")
