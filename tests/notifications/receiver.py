"""A real receiver of webhooks for tests: HTTP on 127.0.0.1, in a thread, answering as told."""

import asyncio
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any, Self

from aiohttp import web
from standardwebhooks import Webhook

from tests.patience import PATIENCE_SECONDS


@dataclass(frozen=True, slots=True)
class Reply:
    """How to answer one request.

    `held` waits for `release()`; `endless` sends the body over and over to whoever listens.
    """

    status: int = 200
    body: bytes = b"thank you"
    headers: Mapping[str, str] = field(default_factory=dict)
    delay_seconds: float = 0.0
    held: bool = False
    endless: bool = False
    pause_seconds: float = 0.0  # between the pieces of an endless answer


@dataclass(frozen=True, slots=True)
class Received:
    """One request as it arrived: the raw bytes, since those were signed."""

    path: str
    headers: Mapping[str, str]
    body: bytes
    at: float  # time.monotonic()

    def verify(self, secret: str) -> Any:
        """Return the notice, checked by the reference library. Raises WebhookVerificationError."""
        return Webhook(secret).verify(self.body, dict(self.headers))

    @property
    def event_id(self) -> str:
        return self.headers["webhook-id"]


class Receiver:
    """Start it with `with Receiver() as receiver:`; every path answers 200 until told otherwise."""

    def __init__(self, *, host: str = "127.0.0.1", port: int = 0) -> None:
        self.host, self.port = host, port
        self.received: list[Received] = []
        self.most_at_once: Counter[str] = Counter()
        self._now: Counter[str] = Counter()
        self._replies: defaultdict[str, list[Reply]] = defaultdict(lambda: [Reply()])
        self._changed = threading.Condition()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._loop = asyncio.new_event_loop()
        self._stop = asyncio.Event()
        self._released = asyncio.Event()

    def url(self, path: str = "/") -> str:
        """Return the address of a path."""
        return f"http://{self.host}:{self.port}{path}"

    def answer(self, path: str, *replies: Reply) -> None:
        """Answer the path's next requests so; the last reply goes on for good."""
        self._replies[path] = list(replies)

    def release(self) -> None:
        """Answer what is held, now and from now on."""
        self._loop.call_soon_threadsafe(self._released.set)

    def at(self, path: str) -> list[Received]:
        """Return what has arrived at a path."""
        return [request for request in list(self.received) if request.path == path]

    def wait_for(self, count: int, path: str) -> list[Received]:
        """Wait until that many requests have arrived at a path, and return them."""
        self.wait_until(lambda: len(self.at(path)) >= count)
        return self.at(path)

    def wait_until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds of what has arrived. Raises TimeoutError."""
        with self._changed:
            if not self._changed.wait_for(holds, PATIENCE_SECONDS):
                raise TimeoutError(
                    f"Not within {PATIENCE_SECONDS:.0f} s; arrived: {len(self.received)}."
                )

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._ready.wait(PATIENCE_SECONDS)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(PATIENCE_SECONDS)
        assert not self._thread.is_alive()

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self._run())
        self._loop.close()

    async def _run(self) -> None:
        app = web.Application(client_max_size=2**24)
        app.router.add_route("*", "/{path:.*}", self._handle)
        # A sender that is gone waits for no answer, so that none outlives the receiver.
        runner = web.AppRunner(
            app, access_log=None, shutdown_timeout=0.1, handler_cancellation=True
        )
        await runner.setup()
        site = web.TCPSite(runner, self.host, self.port, backlog=1024)
        await site.start()
        assert site._server is not None
        self.port = site._server.sockets[0].getsockname()[1]  # type: ignore[attr-defined]
        self._ready.set()
        await self._stop.wait()
        await runner.cleanup()

    async def _handle(self, request: web.Request) -> web.StreamResponse:
        path, body = request.path, await request.read()
        # HTTP header names have no case; `verify` looks them up in lower case.
        headers = {name.lower(): value for name, value in request.headers.items()}
        replies = self._replies[path]
        reply = replies.pop(0) if len(replies) > 1 else replies[0]
        self._now[path] += 1
        self.most_at_once[path] = max(self.most_at_once[path], self._now[path])
        with self._changed:
            self.received.append(Received(path, headers, body, time.monotonic()))
            self._changed.notify_all()
        try:
            await asyncio.sleep(reply.delay_seconds)
            if reply.held:
                await self._released.wait()
            if reply.endless:
                return await self._stream(request, reply)
            return web.Response(status=reply.status, body=reply.body, headers=reply.headers)
        finally:
            self._now[path] -= 1

    async def _stream(self, request: web.Request, reply: Reply) -> web.StreamResponse:
        response = web.StreamResponse(status=reply.status, headers=reply.headers)
        await response.prepare(request)
        while True:
            await response.write(reply.body)
            await asyncio.sleep(reply.pause_seconds)
