"""What takes requests in before a thread is given to them, without a server."""

import asyncio
import json
import socket
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIHandler
from pytest_django import Settings

from core.serving.connections import USER_TIMEOUT, give_up_on_silence
from core.serving.front import SMALL_BYTES, Body, Front, Room, environ_of, usual_environ

MIB = 1024 * 1024
PHOTOS = "/api/v1/jobs/0197e2d4-0000-7000-8000-000000000001/photos"


@dataclass
class Headers:
    """Headers as granian has them: items() leaves out what is not text."""

    pairs: Sequence[tuple[str, str]]
    not_text: Sequence[str] = ()

    def items(self) -> list[tuple[str, str]]:
        return list(self.pairs)

    def keys(self) -> list[str]:
        return [*(name for name, _ in self.pairs), *self.not_text]


@dataclass
class Asked:
    """A request as granian has it."""

    path: str = "/healthz"
    method: str = "POST"
    headers: Headers = field(default_factory=lambda: Headers([("host", "localhost")]))
    query_string: str = ""
    scheme: str = "http"
    http_version: str = "1.1"
    server: str = "127.0.0.1:8000"
    client: str = "127.0.0.1:50000"


@dataclass
class Exchange:
    """Granian's side: gives these parts of a body, for ever silent after them where it stalls."""

    parts: Sequence[bytes] = ()
    stalls: bool = False
    given: int = 0
    answers: list[tuple[int, dict[str, str], bytes]] = field(default_factory=list)

    async def __aiter__(self) -> AsyncIterator[bytes]:
        for part in self.parts:
            self.given += 1
            yield part
        if self.stalls:
            await asyncio.Event().wait()

    def response_bytes(self, status: int, headers: list[tuple[str, str]], body: bytes) -> None:
        self.answers.append((status, {name.lower(): value for name, value in headers}, body))


@pytest.fixture
def front() -> Front:
    return Front(WSGIHandler())


def asked(path: str, *headers: tuple[str, str]) -> Asked:
    return Asked(path, headers=Headers([("host", "localhost"), *headers]))


def ask(front: Front, request: Asked, exchange: Exchange) -> tuple[int, dict[str, str], Any]:
    """Return status, headers and what the answer's JSON says."""
    asyncio.run(front.__rsgi__(request, exchange))  # type: ignore[arg-type]
    ((status, headers, body),) = exchange.answers
    return status, headers, json.loads(body)


def test_that_the_process_lives_is_said_without_a_thread(front: Front) -> None:
    front.threads.shutdown()
    status, headers, body = ask(front, Asked(method="GET"), Exchange())
    assert (status, body) == (200, {"status": "live"})
    assert headers == {"content-type": "application/json", "cache-control": "no-store"}


def test_a_sender_who_stalls_is_told_that_time_is_up(front: Front, settings: Settings) -> None:
    settings.REQUEST_SECONDS = 0.01
    exchange = Exchange([b"{"], stalls=True)
    status, headers, problem = ask(
        front, asked("/api/v1/session", ("content-length", "9")), exchange
    )
    assert status == 408
    assert headers["connection"] == "close"
    assert problem["type"] == "urn:shutline:problem:slow-request"
    assert "1 bytes of it are here" in problem["detail"]


def test_somebody_who_reads_pages_is_told_on_a_page(front: Front, settings: Settings) -> None:
    settings.REQUEST_SECONDS = 0.01
    exchange = Exchange(stalls=True)
    request = asked("/sign-in", ("content-length", "9"), ("accept", "text/html"))
    asyncio.run(front.__rsgi__(request, exchange))  # type: ignore[arg-type]
    ((status, headers, body),) = exchange.answers
    assert status == 408
    assert headers["content-type"].startswith("text/html")
    assert b"The request came too slowly" in body


def test_a_body_that_says_it_is_too_long_is_not_read(front: Front) -> None:
    exchange = Exchange([b"x" * MIB])
    length = ("content-length", str(2 * MIB))
    assert ask(front, asked("/api/v1/session", length), exchange)[0] == 413
    assert exchange.given == 0


def test_a_body_without_a_length_is_read_up_to_the_limit_of_its_address(front: Front) -> None:
    exchange = Exchange([b"x" * MIB] * 100)
    request = asked("/api/v1/session", ("transfer-encoding", "chunked"))
    status, headers, _ = ask(front, request, exchange)
    assert (status, headers["connection"]) == (413, "close")
    assert exchange.given == 2


def test_a_photograph_may_be_longer(front: Front, settings: Settings) -> None:
    exchange = Exchange([b"x" * MIB] * 300)
    status, _, problem = ask(front, asked(PHOTOS, ("transfer-encoding", "chunked")), exchange)
    limit = settings.PHOTO_LIMIT_BYTES // MIB
    assert status == 413
    assert limit <= exchange.given <= limit + 2
    assert "KiB" in problem["detail"]


def test_whoever_sends_steadily_may_take_longer() -> None:
    async def steadily() -> AsyncIterator[bytes]:
        yield b"x" * MIB
        await asyncio.sleep(0.05)
        yield b"y"

    environ = environ_of(asked(PHOTOS, ("content-length", str(MIB + 1))), usual_environ())  # type: ignore[arg-type]
    body = Body(steadily(), room=Room(2 * MIB), seconds=0.01)  # type: ignore[arg-type]
    asyncio.run(body.read_into(environ))
    assert environ["CONTENT_LENGTH"] == str(MIB + 1)
    assert environ["wsgi.input"].read().endswith(b"xy")


def test_large_bodies_share_one_room_and_small_ones_need_none() -> None:
    async def read(*parts: bytes) -> tuple[Body, dict[str, Any]]:
        length = ("content-length", str(sum(map(len, parts))))
        environ = environ_of(asked(PHOTOS, length), usual_environ())  # type: ignore[arg-type]
        body = Body(Exchange(parts), room=room, seconds=60)
        await body.read_into(environ)
        return body, environ

    room = Room(MIB)
    first, environ = asyncio.run(read(b"x" * MIB))
    assert "shutline.problem" not in environ
    assert room.free == SMALL_BYTES
    second, environ = asyncio.run(read(b"x" * MIB))
    assert environ["shutline.problem"].status == 503
    assert "Retry-After" in environ["shutline.problem"].headers
    _, environ = asyncio.run(read(b"x" * SMALL_BYTES))
    assert environ["wsgi.input"].read() == b"x" * SMALL_BYTES
    first.free()
    second.free()
    assert room.free == MIB


def test_a_request_is_passed_on_as_wsgi_has_it() -> None:
    pairs = [
        ("host", "localhost"),
        ("cookie", "a=1"),
        ("cookie", "b=2"),
        ("x-forwarded-for", "192.0.2.1"),
        ("x-forwarded-for", "192.0.2.2"),
        ("x_forwarded_for", "198.51.100.9"),
        ("content-type", "text/csv"),
    ]
    scope = Asked(
        "/caf\u00e9",
        headers=Headers(pairs, not_text=["idempotency-key"]),
        client="[2001:db8::1]:443",
        server="[::1]:8000",
    )
    environ = environ_of(scope, usual_environ())  # type: ignore[arg-type]
    assert environ["PATH_INFO"] == "/caf\u00c3\u00a9"
    assert environ["HTTP_COOKIE"] == "a=1;b=2"
    assert environ["HTTP_X_FORWARDED_FOR"] == "192.0.2.1,192.0.2.2"  # not what passes for it
    assert environ["HTTP_IDEMPOTENCY_KEY"] == ""  # there, though unreadable
    assert environ["CONTENT_TYPE"] == "text/csv"
    assert (environ["REMOTE_ADDR"], environ["SERVER_NAME"]) == ("2001:db8::1", "::1")


@pytest.mark.skipif(USER_TIMEOUT is None, reason="the system has no such option")
def test_a_reader_who_takes_nothing_is_given_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as place:
        assert give_up_on_silence(7) >= 1
        with socket.create_connection(place.getsockname()), place.accept()[0] as taken:
            assert taken.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 7000
