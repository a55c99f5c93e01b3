"""The numbers for Prometheus: who may read them, and that they stay few."""

import http.client
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import Resolver404, get_resolver, resolve
from pytest_django import Settings

from core.env import Environment
from core.health import ProbeCollector
from core.numbers import NumbersMiddleware, is_near, text
from core.serving.numbers import NumbersServer
from tests.api.test_core_open_doors import patterns, reach
from tests.patience import PATIENCE_SECONDS

pytestmark = pytest.mark.django_db
TOKEN = "drizzle-and-dust"
# A tenth of what a scrape had once every view had been asked.
MOST_BYTES = 97_000


@pytest.fixture
def server(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Iterator[NumbersServer]:
    settings.METRICS_TOKEN = TOKEN
    monkeypatch.setattr("core.serving.numbers.text", lambda _extra: b"shutline_some 1.0\n")
    with NumbersServer("127.0.0.1", 0) as listening:
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


def test_a_scrape_stays_small_when_every_view_was_asked_and_failed_in_every_way() -> None:
    paths = [reach(address) for address, _ in patterns(get_resolver("core.urls"))]
    assert len(paths) > 200
    for path in paths:
        for status in (200, 303, 404, 500):
            request = RequestFactory().get(path)

            def answer(request: HttpRequest, status: int = status) -> HttpResponse:
                vars(request)["resolver_match"] = known(request.path_info)
                return HttpResponse(status=status)

            NumbersMiddleware(answer)(request)
    assert len(text(ProbeCollector())) < MOST_BYTES


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
