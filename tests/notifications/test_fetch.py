"""Fetching JSON from a stranger's URL: every outcome is a value, and nothing gets inside."""

import gzip
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from pytest_django import Settings

from core.outbound.fetch import MOST_BYTES, fetch_all
from core.outbound.sources import Fetched
from tests.notifications.receiver import Receiver, Reply
from tests.patience import PATIENCE_SECONDS

JSON = {"Content-Type": "application/json"}


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as running:
        yield running


def fetched(receiver: Receiver, reply: Reply, *, seconds: float = PATIENCE_SECONDS) -> Fetched:
    """Return what comes of one URL that answers so."""
    receiver.answer("/a", reply)
    (answer,) = fetch_all([receiver.url("/a")], seconds=seconds)
    return answer


def test_json_is_returned_as_it_is(receiver: Receiver) -> None:
    assert fetched(receiver, Reply(200, b'{"hours": [1.5]}', JSON)) == Fetched({"hours": [1.5]})
    (request,) = receiver.at("/a")
    assert request.headers["accept"] == "application/json"
    assert request.headers["accept-encoding"] == "identity"
    assert "authorization" not in request.headers


def test_a_type_that_is_a_kind_of_json_will_do(receiver: Receiver) -> None:
    kind = {"Content-Type": "application/geo+json; charset=utf-8"}
    assert fetched(receiver, Reply(200, b"[]", kind)) == Fetched([])


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"sunny", "not JSON"),
        (b"", "not JSON"),
        (b'{"hours": [NaN]}', "not JSON"),
        (b'{"hours": "\xff"}', "not JSON"),
        (b"[" * 40 + b"]" * 40, "nested more than 32"),
    ],
)
def test_nonsense_is_told(receiver: Receiver, body: bytes, says: str) -> None:
    answer = fetched(receiver, Reply(200, body, JSON))
    assert answer.value is None
    assert says in answer.error
    assert answer.error.endswith(".")


def test_a_page_is_no_forecast(receiver: Receiver) -> None:
    answer = fetched(receiver, Reply(200, b"<html>{}</html>", {"Content-Type": "text/html"}))
    assert answer == Fetched(error="The URL answered text/html, not application/json.")


@pytest.mark.parametrize("status", [400, 403, 404, 500, 503])
def test_a_status_that_is_no_success_is_told(receiver: Receiver, status: int) -> None:
    assert fetched(receiver, Reply(status, b"{}", JSON)).error == f"The URL answered {status}."


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(receiver: Receiver, status: int) -> None:
    to = {"Location": receiver.url("/elsewhere")}
    assert "not followed" in fetched(receiver, Reply(status, b"", to)).error
    assert receiver.at("/elsewhere") == []


def test_an_answer_of_just_the_limit_is_read_and_one_more_byte_is_not(receiver: Receiver) -> None:
    full = b'"' + b"a" * (MOST_BYTES - 2) + b'"'
    assert len(fetched(receiver, Reply(200, full, JSON)).value) == MOST_BYTES - 2
    answer = fetched(receiver, Reply(200, full + b" ", JSON))
    assert answer == Fetched(error="The answer is larger than 256 KiB.")


def test_an_answer_without_end_is_let_go_of_at_the_limit(receiver: Receiver) -> None:
    answer = fetched(
        receiver, Reply(200, b"[" * 8192, JSON, endless=True), seconds=PATIENCE_SECONDS
    )
    assert "larger" in answer.error


def test_a_compressed_answer_is_not_unpacked(receiver: Receiver) -> None:
    bomb = gzip.compress(b" " * 50_000_000)
    assert len(bomb) < MOST_BYTES
    answer = fetched(receiver, Reply(200, bomb, {**JSON, "Content-Encoding": "gzip"}))
    assert "compressed" in answer.error


@pytest.mark.parametrize(
    "reply",
    [
        Reply(200, b"{}", JSON, held=True),
        Reply(200, b" ", JSON, endless=True, pause_seconds=0.05),
    ],
    ids=["says nothing", "trickles"],
)
def test_a_slow_answer_is_given_up(receiver: Receiver, reply: Reply) -> None:
    answer = fetched(receiver, reply, seconds=0.4)
    assert answer == Fetched(error="No whole answer within 0.4 seconds.")


def test_several_are_fetched_at_once_and_told_in_order(receiver: Receiver) -> None:
    count = 10
    for index in range(count):
        body = str(index).encode()
        receiver.answer(f"/{index}", Reply(200, body, JSON, held=True))
    urls = [receiver.url(f"/{index}") for index in range(count)]
    with ThreadPoolExecutor(1) as pool:
        fetching = pool.submit(fetch_all, urls, seconds=PATIENCE_SECONDS)
        receiver.wait_until(lambda: len(receiver.received) == count)
        receiver.release()
        assert [answer.value for answer in fetching.result()] == list(range(count))


def test_one_that_fails_leaves_the_others_alone(receiver: Receiver) -> None:
    receiver.answer("/good", Reply(200, b"1", JSON))
    bad, good = fetch_all(["http://127.0.0.1:9/", receiver.url("/good")])
    assert (bad.error, good) == ("The connection was refused.", Fetched(1))


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_an_address_of_the_inside_is_not_connected_to(
    receiver: Receiver, settings: Settings, host: str
) -> None:
    settings.OPEN_NETWORKS = ()
    (answer,) = fetch_all([f"http://{host}:{receiver.port}/a"])
    assert "not allowed" in answer.error
    assert receiver.received == []


def test_plain_http_is_not_fetched_where_it_is_not_allowed(
    receiver: Receiver, settings: Settings
) -> None:
    settings.ALLOW_PLAIN_HTTP = False
    (answer,) = fetch_all([receiver.url("/a")])
    assert answer.error == "The URL must begin with https://."
    assert receiver.received == []


def test_nothing_to_fetch_is_nothing_to_do() -> None:
    assert fetch_all([]) == []
