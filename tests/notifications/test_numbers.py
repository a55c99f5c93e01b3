"""What is counted and logged of each attempt, and which endpoints are named as the worst."""

import socket
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from prometheus_client import REGISTRY
from pytest_django import Settings
from structlog.testing import capture_logs

from core.clock import now
from notifications.engine import telling
from notifications.engine.run import deliver
from notifications.models import Attempt, Endpoint
from notifications.numbers import EMAIL_ENDS, LOOK_BACK, MOST_NAMED, WEBHOOK_ENDS, worst_endpoints
from tests.notifications.conftest import AddEndpoint, AddEvent, FillBacklog
from tests.notifications.mail_server import MailServer
from tests.notifications.receiver import Receiver, Reply

pytestmark = pytest.mark.django_db(transaction=True)


class Since:
    """How much a number has grown since this was made."""

    def __init__(self, name: str, **labels: str) -> None:
        self.name, self.labels = name, labels
        self.before = self._read()

    def _read(self) -> float:
        return REGISTRY.get_sample_value(self.name, self.labels) or 0.0

    @property
    def grown(self) -> float:
        return self._read() - self.before


def attempts(channel: str, ended: str) -> Since:
    return Since("shutline_delivery_attempts_total", channel=channel, ended=ended)


def closed_port() -> int:
    """Return a port where nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


@pytest.mark.parametrize(
    ("reply", "ended"),
    [
        (Reply(), "arrived"),
        (Reply(status=301), "redirect"),
        (Reply(status=403), "refused"),
        (Reply(status=503), "receiver_failed"),
    ],
)
def test_each_attempt_is_counted_by_how_it_ended_and_how_long_it_took(
    reply: Reply, ended: str, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/a", reply)
    add_endpoint(receiver.url("/a"))
    add_event()
    counted = attempts("webhook", ended)
    took = Since("shutline_delivery_attempt_seconds_count", channel="webhook")
    late = Since("shutline_delivery_delay_seconds_count")
    deliver()
    assert (counted.grown, took.grown, late.grown) == (1, 1, 1)


@pytest.mark.parametrize(
    ("address", "ended"),
    [
        ("http://127.0.0.1:{port}/", "no_connection"),
        ("https://{plain}/", "tls"),
        ("http://10.66.0.1/", "address_not_allowed"),
        ("http://nowhere.invalid/", "name_not_found"),
    ],
)
def test_what_does_not_arrive_is_counted_by_its_reason(
    address: str, ended: str, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    plain = f"127.0.0.1:{receiver.port}"
    add_endpoint(address.format(port=closed_port(), plain=plain))
    add_event()
    counted = attempts("webhook", ended)
    deliver()
    assert counted.grown == 1
    assert ended in WEBHOOK_ENDS


def test_a_failed_attempt_is_one_line_that_names_nobody(
    receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    receiver.answer("/hook-of-odile", Reply(status=503, body=b"Odile is out, ring 01632 960 123"))
    to = add_endpoint(receiver.url("/hook-of-odile"))
    add_event()
    with capture_logs() as lines:
        deliver()
    (line,) = lines
    attempt = Attempt.objects.get()
    assert line == {
        "event": "delivery_failed",
        "log_level": "info",
        "delivery_id": str(attempt.delivery_id),
        "endpoint_id": str(to.pk),
        "channel": "webhook",
        "type": "job.ready",
        "reason": "receiver_failed",
        "status": 503,
        "duration_ms": attempt.milliseconds,
        "tries": 1,
        "next_try_in_seconds": line["next_try_in_seconds"],
    }
    assert 4 <= line["next_try_in_seconds"] <= 6


def test_the_last_attempt_says_that_there_is_no_next(
    settings: Settings, receiver: Receiver, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    settings.RETRY_SECONDS = (0.0,)
    receiver.answer("/a", Reply(status=500))
    add_endpoint(receiver.url("/a"))
    add_event()
    with capture_logs() as lines:
        deliver()
    assert [line["next_try_in_seconds"] for line in lines] == [None]


def test_a_key_that_is_missing_is_no_attempt_and_is_counted_as_ours(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("http://127.0.0.1:9/", secret="sealed by another key")
    add_event()
    counted = attempts("webhook", "key_missing")
    late = Since("shutline_delivery_delay_seconds_count")
    with capture_logs() as lines:
        deliver()
    assert (counted.grown, late.grown) == (1, 0)
    assert [line["event"] for line in lines] == ["field_key_missing"]


def test_an_email_is_counted_by_whether_the_server_took_it(
    mail_server: MailServer, settings: Settings, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("stock@harrowlane.example", channel=Endpoint.Channel.EMAIL)
    good = Since("shutline_emails_total", kind="notice", result="good")
    failed = Since("shutline_emails_total", kind="notice", result="failed")
    not_sent = attempts("email", "mail_not_sent")
    add_event()
    deliver()
    assert (good.grown, failed.grown, len(mail_server.messages)) == (1, 0, 1)
    settings.EMAIL_PORT = closed_port()
    add_event()
    deliver()
    assert (good.grown, failed.grown, not_sent.grown) == (1, 1, 1)
    assert "mail_not_sent" in EMAIL_ENDS


def test_the_worst_endpoints_are_named_by_id_ten_at_most(
    add_endpoint: AddEndpoint, add_event: AddEvent, receiver: Receiver
) -> None:
    for number in range(MOST_NAMED + 3):
        path = f"/{number}"
        receiver.answer(path, Reply(status=500))
        add_endpoint(receiver.url(path))
    good = add_endpoint(receiver.url("/good"))
    add_event()
    deliver()
    first = Endpoint.objects.exclude(pk=good.pk).order_by("pk")[0]
    Endpoint.objects.filter(pk=first.pk).update(failing_since=now() - timedelta(hours=1))
    Attempt.objects.filter(delivery__endpoint=good).update(milliseconds=9_000)
    found = {figures.name: figures.values for figures in worst_endpoints()}
    failing = found["endpoint_failing_seconds"]
    assert len(failing) == len(found["endpoint_recent_failures"]) == MOST_NAMED
    assert max(failing, key=lambda pk: failing[pk]) == str(first.pk)
    assert failing[str(first.pk)] >= 3600
    assert str(good.pk) not in found["endpoint_recent_failures"]
    slowest = found["endpoint_recent_seconds"]
    assert next(iter(slowest.items())) == (str(good.pk), 9.0)
    assert len(slowest) == MOST_NAMED


def test_what_is_long_past_names_nobody(
    add_endpoint: AddEndpoint, add_event: AddEvent, receiver: Receiver
) -> None:
    receiver.answer("/a", Reply(status=500))
    to = add_endpoint(receiver.url("/a"))
    add_event()
    deliver()
    long_past = now() - LOOK_BACK - timedelta(seconds=1)
    Attempt.objects.update(started_at=long_past)
    Endpoint.objects.filter(pk=to.pk).update(state=Endpoint.State.OFF)
    assert all(figures.values == {} for figures in worst_endpoints())


def test_the_worst_endpoints_are_read_by_index(
    add_endpoint: AddEndpoint, backlog: FillBacklog
) -> None:
    """However many attempts there are, the last ones are looked at and no more."""
    backlog(add_endpoint("https://hook.example/x"), 20)
    with CaptureQueriesContext(connection) as queries:
        list(worst_endpoints())
    first, second = (explained(query["sql"]) for query in queries.captured_queries)
    assert "endpoint_failing" in first
    key = "attempt_pkey" if connection.vendor == "postgresql" else "autoindex_notifications_attempt"
    assert key in second
    assert "Sort Key: notifications_attempt" not in second
    assert "TEMP B-TREE FOR ORDER BY" not in second


def explained(sql: str) -> str:
    """Return the database's plan for a query, with sequential scans forbidden on PostgreSQL."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET enable_seqscan = off")
            cursor.execute(f"EXPLAIN {sql}")
            return "\n".join(row[0] for row in cursor.fetchall())
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
        return "\n".join(str(row[3]) for row in cursor.fetchall())


def test_every_reason_that_is_given_is_among_those_counted_from_the_start() -> None:
    """An increase is seen from the first one on only where the number stood at nought before."""
    root = Path(telling.__file__).resolve().parents[2]
    given = set()
    for place in ("core/outbound/session.py", "notifications/engine/post.py"):
        text = (root / place).read_text()
        _, _, text = text.partition("def reason_of" if "session" in place else "def _reason")
        given |= {word for word in text.split('"')[1::2] if word.isidentifier()}
    assert given
    assert given <= set(WEBHOOK_ENDS)
