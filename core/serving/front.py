"""Takes requests in before a thread is given to them: what granian calls, as an RSGI application.

Django answers in a thread, and a thread that waits for a slow sender is lost to everybody else.
So the body is read here first, on the event loop, against the clock and within bounds; only a
request that is all here gets a thread. An answer leaves the thread whole as well, so that a slow
reader holds none either.
"""

import asyncio
import sys
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from io import BytesIO
from typing import Any, Protocol

from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from granian.rsgi import Scope

from core import tracing
from core.health import LIVE, service_numbers
from core.middleware import FOUND_BY_FRONT, MAX_DIGITS, body_limit_at
from core.problems import InvalidRequest, Problem, SlowRequest, TooLarge, Unavailable
from core.serving.connections import give_up_on_silence, open_more_files
from core.serving.numbers import serve_numbers

Environ = dict[str, Any]

# A body this small needs no room of the common store: nobody can take that from others.
SMALL_BYTES = 64 * 1024
# Whoever sends at least this fast may go on beyond the deadline: a photograph from a telephone.
SLOWEST_BYTES_A_SECOND = 16 * 1024
RETRY_AFTER_SECONDS = 5
# Every thread may wait for the database when somebody asks whether the process lives.
LIVE_PATH = "/healthz"
LIVE_HEADERS = [("content-type", "application/json"), ("cache-control", "no-store")]
CLOSING = {"Connection": "close"}  # the rest of the body is not read


class Exchange(Protocol):
    """What of granian's side of a request is used here."""

    def __aiter__(self) -> AsyncIterator[bytes]: ...

    def response_bytes(self, status: int, headers: list[tuple[str, str]], body: bytes) -> None: ...


class Room:
    """The memory that all bodies being read or answered may take together, beyond small ones."""

    def __init__(self, limit_bytes: int) -> None:
        self.free = limit_bytes

    def take(self, count: int) -> bool:
        """Take so many bytes; say whether they were there."""
        if count > self.free:
            return False
        self.free -= count
        return True

    def give_back(self, count: int) -> None:
        """Give back what was taken."""
        self.free += count


class Body:
    """One request's body, read against the clock."""

    def __init__(self, proto: Exchange, *, room: Room, seconds: float) -> None:
        self.proto = proto
        self.room = room
        self.seconds = seconds
        self.parts: list[bytes] = []
        self.size = 0
        self.taken = 0

    async def read_into(self, environ: Environ) -> None:
        """Put the whole body into the request, or the problem that there was with it.

        One that says itself that it is too long stays unread; the guard refuses it.
        """
        limit = limit_for(environ)
        if length_of(environ) > limit:
            return
        try:
            await self._read(limit)
            if self.size < length_of(environ):
                raise InvalidRequest(
                    f"The body broke off after {self.size} bytes.", headers=CLOSING
                )
        except Problem as problem:
            environ[FOUND_BY_FRONT] = problem
            return
        environ["CONTENT_LENGTH"] = str(self.size)
        environ["wsgi.input"] = BytesIO(b"".join(self.parts))
        self.parts = []

    async def _read(self, limit: int) -> None:
        loop = asyncio.get_running_loop()
        began = loop.time()
        try:
            async with asyncio.timeout_at(began + self.seconds) as clock:
                async for part in self.proto:
                    self._keep(part, limit)
                    clock.reschedule(began + self.seconds + self.size / SLOWEST_BYTES_A_SECOND)
        except TimeoutError as error:
            raise SlowRequest(
                f"The body did not come in time: after {loop.time() - began:.0f} s "
                f"{self.size} bytes of it are here.",
                headers=CLOSING,
            ) from error

    def _keep(self, part: bytes, limit: int) -> None:
        self.size += len(part)
        if self.size > limit:
            raise TooLarge(
                f"The body is too long; at most {limit // 1024} KiB are read.",
                headers=CLOSING,
            )
        beyond = max(self.size - SMALL_BYTES, 0) - self.taken
        if not self.room.take(beyond):
            raise Unavailable(
                "Too many large bodies are being sent at once.",
                headers={"Retry-After": str(RETRY_AFTER_SECONDS), **CLOSING},
            )
        self.taken += beyond
        self.parts.append(part)

    def free(self) -> None:
        """Give the memory back."""
        self.parts = []
        self.room.give_back(self.taken)
        self.taken = 0


class Front:
    """The RSGI application: reads a request whole, then has Django answer it in a thread."""

    def __init__(self, application: WSGIHandler) -> None:
        self.application = application
        self.threads = ThreadPoolExecutor(settings.WEB_THREADS, "web")
        self.room = Room(1024 * 1024 * settings.BODIES_MEMORY_MB)
        self.usual = usual_environ()

    def __rsgi_init__(self, loop: asyncio.AbstractEventLoop) -> None:
        """Prepare this web process; granian calls it once, before the first request."""
        del loop
        open_more_files()
        give_up_on_silence(settings.REQUEST_SECONDS)
        serve_numbers(service_numbers)

    def __rsgi_del__(self, loop: asyncio.AbstractEventLoop) -> None:
        """End the threads; granian calls it once, after the last request."""
        del loop
        self.threads.shutdown(wait=False, cancel_futures=True)
        tracing.end()

    async def __rsgi__(self, scope: Scope, proto: Exchange) -> None:
        """Answer one request; that this process lives is said without a thread."""
        if scope.path == LIVE_PATH and scope.method == "GET":
            proto.response_bytes(200, LIVE_HEADERS, LIVE)
            return
        environ = environ_of(scope, self.usual)
        loop = asyncio.get_running_loop()
        if not has_body(environ):
            await loop.run_in_executor(self.threads, self.answer, environ, proto)
            return
        body = Body(proto, room=self.room, seconds=settings.REQUEST_SECONDS)
        try:
            await body.read_into(environ)
            await loop.run_in_executor(self.threads, self.answer, environ, proto)
        finally:
            body.free()

    def answer(self, environ: Environ, proto: Exchange) -> None:
        """Run Django in a thread, and hand the whole answer over."""
        left_over: list[bytes] = []
        begun: list[tuple[int, list[tuple[str, str]]]] = []

        def start_response(
            status: str, headers: list[tuple[str, str]], _: Any = None, /
        ) -> Callable[[bytes], object]:
            begun.append((int(status[:3]), headers))
            return left_over.append  # of WSGI's older way, which Django does not use

        response = self.application(environ, start_response)
        try:
            content = b"".join(response)
        finally:
            response.close()
        status, headers = begun[0]
        proto.response_bytes(status, headers, content)


def usual_environ() -> Environ:
    """Return what is the same for every request."""
    return {
        "SCRIPT_NAME": "",
        "SERVER_SOFTWARE": "shutline",
        "wsgi.errors": sys.stderr,
        "wsgi.multiprocess": settings.WEB_PROCESSES > 1,
        "wsgi.multithread": True,
        "wsgi.run_once": False,
        "wsgi.version": (1, 0),
    }


def has_body(environ: Environ) -> bool:
    """Return whether a body comes with the request."""
    return environ.get("CONTENT_LENGTH", "0") != "0" or "HTTP_TRANSFER_ENCODING" in environ


def length_of(environ: Environ) -> int:
    """Return the length that the body is said to have, 0 where nothing is said of it."""
    length = environ.get("CONTENT_LENGTH", "0")
    return int(length) if length.isdigit() and len(length) <= MAX_DIGITS else 0


def limit_for(environ: Environ) -> int:
    """Return the most bytes that are read: the address is looked up only where it matters."""
    if 0 < length_of(environ) <= settings.BODY_LIMIT_BYTES:
        return int(settings.BODY_LIMIT_BYTES)
    return body_limit_at(environ["PATH_INFO"].encode("latin-1").decode())


def environ_of(scope: Scope, usual: Environ) -> Environ:
    """Return a request as WSGI has it, with an empty body.

    A header with an underscore in its name is left out: it would pass for the one with a hyphen,
    which a proxy may vouch for.
    """
    server_name, _, server_port = scope.server.rpartition(":")
    environ: Environ = {
        **usual,
        "REQUEST_METHOD": scope.method,
        "PATH_INFO": scope.path.encode().decode("latin-1"),
        "QUERY_STRING": scope.query_string,
        "SERVER_NAME": server_name.strip("[]"),
        "SERVER_PORT": server_port,
        "SERVER_PROTOCOL": f"HTTP/{scope.http_version}",
        "REMOTE_ADDR": scope.client.rpartition(":")[0].strip("[]"),
        "wsgi.url_scheme": scope.scheme,
        "wsgi.input": BytesIO(),
    }
    headers = scope.headers.items()
    for name, value in headers:
        if "_" not in name:
            key = header_key(name)
            before = environ.get(key)
            between = ";" if key == "HTTP_COOKIE" else ","
            environ[key] = value if before is None else f"{before}{between}{value}"
    names = scope.headers.keys()
    if len(names) != len(headers):  # what is not text is left out above: there, but empty
        for name in names:
            environ.setdefault(header_key(name), "")
    return environ


@lru_cache(maxsize=512)
def header_key(name: str) -> str:
    """Return a header's name as WSGI has it."""
    key = name.replace("-", "_").upper()
    return key if key in {"CONTENT_TYPE", "CONTENT_LENGTH"} else f"HTTP_{key}"
