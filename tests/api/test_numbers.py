"""The numbers for Prometheus: who may read them, and that they stay few."""

import http.client
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from celery import current_app
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import Resolver404, get_resolver, resolve
from prometheus_client import REGISTRY
from pytest_django import Settings

from accounts.models import Organisation
from core import counting
from core.clock import now
from core.env import Environment
from core.health import ProbeCollector
from core.ids import new_id
from core.models import Sweep
from core.numbers import NumbersMiddleware, is_near, text
from core.periodic import SCHEDULE
from core.serving.numbers import NumbersServer
from notifications.models import Attempt, Delivery, Endpoint, Event
from notifications.numbers import MOST_NAMED
from tests.api.test_core_open_doors import patterns, reach
from tests.patience import PATIENCE_SECONDS

pytestmark = pytest.mark.django_db
TOKEN = "drizzle-and-dust"
MOST_BYTES = 100_000


@pytest.fixture
def server(settings: Settings) -> Iterator[NumbersServer]:
    settings.METRICS_TOKEN = TOKEN
    with NumbersServer("127.0.0.1", 0, lambda: b"shutline_some 1.0\n") as listening:
        thread = threading.Thread(target=listening.serve_forever)
        thread.start()
        yield listening
        listening.shutdown()
        thread.join()


def scrape(
    server: NumbersServer, *, token: str = "", method: str = "GET", path: str = "/metrics"
) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection(
        "127.0.0.1", server.server_port, timeout=PATIENCE_SECONDS
    )
    headers = {"Authorization": f"Bearer {token}"} if token else {}
    connection.request(method, path, headers=headers)
    answer = connection.getresponse()
    found = answer.status, answer.read()
    connection.close()
    return found


def test_on_the_public_address_there_is_nothing_without_a_token(
    client: Client, settings: Settings
) -> None:
    for wanted, sent in (("", ""), ("", "Bearer "), (TOKEN, ""), (TOKEN, "Bearer drizzle")):
        settings.METRICS_TOKEN = wanted
        answer = client.get("/metrics", headers={"Authorization": sent})
        assert answer.status_code == 404
        assert answer["Content-Type"] == "application/problem+json"
    answer = client.get("/metrics", headers={"Authorization": f"bearer {TOKEN}"})
    assert (answer.status_code, answer["Content-Type"][:10]) == (200, "text/plain")


def test_at_their_own_address_the_neighbours_may_read_them(server: NumbersServer) -> None:
    assert scrape(server) == (200, b"shutline_some 1.0\n")
    assert scrape(server, method="HEAD") == (200, b"")
    assert scrape(server, path="/sign-in")[0] == 404
    assert scrape(server, method="POST")[0] == 501


def test_at_their_own_address_others_need_the_token(
    server: NumbersServer, settings: Settings
) -> None:
    settings.METRICS_NETWORKS = ("10.20.0.0/16",)
    assert scrape(server)[0] == 403
    assert scrape(server, token="wrong")[0] == 403
    assert scrape(server, token=TOKEN)[0] == 200


def test_a_neighbour_is_known_in_either_spelling(settings: Settings) -> None:
    settings.METRICS_NETWORKS = ("10.20.0.0/16", "fd12::/48")
    near = ["10.20.0.1", "::ffff:10.20.255.255", "fd12::7"]
    far = ["10.21.0.1", "::ffff:10.21.0.1", "fd13::7", "", "nobody"]
    assert [address for address in near + far if is_near(address)] == near


def test_a_scrape_stays_small_when_everything_failed_in_every_way() -> None:
    """Every view, task and sweep, with 4,000 dealers whose systems all fail."""
    paths = [reach(address) for address, _ in patterns(get_resolver("core.urls"))]
    assert len(paths) > 200
    for path in paths:
        for status in (200, 303, 404, 500):
            request = RequestFactory().get(path)

            def answer(request: HttpRequest, status: int = status) -> HttpResponse:
                vars(request)["resolver_match"] = known(request.path_info)
                return HttpResponse(status=status)

            NumbersMiddleware(answer)(request)
    for entry in SCHEDULE.values():
        Sweep.objects.create(name=entry["task"].rpartition(".")[2], last_run_at=now())
    counting.begin_at_nothing()
    current_app.loader.import_default_modules()
    for task in [name for name in current_app.tasks if not name.startswith("celery.")]:
        counting.TASK_SECONDS.labels(task).observe(41.0)
        counting.TASK_FAILURES.labels(task).inc(123_456)
        counting.MESSAGES.labels(task).inc(123_456)
    fail_everywhere(dealers=4000)
    body = text(ProbeCollector()).decode()
    assert body.count("shutline_endpoint_failing_seconds{") == MOST_NAMED
    assert body.count("shutline_endpoint_recent_failures{") == MOST_NAMED
    assert body.count("shutline_endpoint_recent_seconds{") == MOST_NAMED
    assert len(body) < MOST_BYTES


@pytest.mark.parametrize(("path", "counts"), [("/sign-in", 1), ("/readyz", 0)])
def test_readiness_that_fails_is_no_request_that_failed(path: str, counts: int) -> None:
    labels = {"ended": "5xx"}
    before = REGISTRY.get_sample_value("shutline_answers_total", labels)
    assert before is not None
    request = RequestFactory().get(path)
    request.resolver_match = resolve(path)
    NumbersMiddleware(lambda _request: HttpResponse(status=503))(request)
    assert REGISTRY.get_sample_value("shutline_answers_total", labels) == before + counts


def fail_everywhere(*, dealers: int) -> None:
    """Make that many dealers, each with an endpoint to which one notice failed."""
    moment = now()
    owners = Organisation.objects.bulk_create(
        Organisation(kind="dealer", name=f"Yard {number}") for number in range(dealers)
    )
    endpoints = Endpoint.objects.bulk_create(
        Endpoint(
            organisation=owner, channel="webhook", address="https://hook.example/x",
            failing_since=moment,
        )
        for owner in owners
    )  # fmt: skip
    events = Event.objects.bulk_create(
        Event(
            type="job.ready", dealer=owner, subject_id=new_id(), occurred_at=moment,
            recorded_at=moment, body="{}", position=number,
        )
        for number, owner in enumerate(owners, start=1)
    )  # fmt: skip
    deliveries = Delivery.objects.bulk_create(
        Delivery(
            event=event, endpoint=endpoint, subject_id=event.subject_id, tries=1,
            next_attempt_at=moment, created_at=moment,
        )
        for event, endpoint in zip(events, endpoints, strict=True)
    )  # fmt: skip
    Attempt.objects.bulk_create(
        Attempt(delivery=delivery, started_at=moment, milliseconds=20_000, error="No answer.")
        for delivery in deliveries
    )


def known(path: str) -> Any:
    """Return what answers at an address, or None."""
    try:
        return resolve(path)
    except Resolver404:
        return None


@pytest.mark.parametrize("word", ["9100", "host:", ":9100", "host:0", "host:70000", "host:x"])
def test_an_address_that_cannot_be_listened_on_is_refused(word: str) -> None:
    env = Environment({"SHUTLINE_METRICS_LISTEN": word})
    assert env.place("SHUTLINE_METRICS_LISTEN", "core.E042") == ""
    (bad,) = env.bad
    assert "127.0.0.1:9100" in bad.hint


@pytest.mark.parametrize("word", ["", "127.0.0.1:9100", "[::1]:9100", "0.0.0.0:9100"])
def test_an_address_to_listen_on_is_taken(word: str) -> None:
    env = Environment({"SHUTLINE_METRICS_LISTEN": word})
    assert env.place("SHUTLINE_METRICS_LISTEN", "core.E042") == word
    assert env.bad == []
