"""What stands at a dealer's end: a webhook endpoint over real HTTP, in a thread of its own."""

import asyncio
import json
import time
from abc import ABC, abstractmethod
from collections.abc import Mapping
from threading import Event, Lock, Thread
from typing import Any

from aiohttp import web
from standardwebhooks import Webhook, WebhookVerificationError

from jobs.demo.client import DemoError
from jobs.demo.ledger import Notice, Receipt
from jobs.demo.postbox import Postbox

HOST = "127.0.0.1"
PATH = "/shutline/notices"
START_SECONDS = 10.0
# Members of `data` that tell apart the notices which leave the job's version alone.
ABOUT = ("belonging_id", "finding_id", "walk_round_id", "request_id", "item", "number")


def notice_in(body: Mapping[str, Any]) -> Notice:
    """Return what the body of a notice is about; a test notice is about no job."""
    job = body["data"].get("job", {"id": "", "version": 0})
    about = next((str(body["data"][name]) for name in ABOUT if name in body["data"]), "")
    return Notice(body["type"], job["id"], job["version"], about)


class Receiver(ABC):
    """A server with an event loop and a thread of its own, on a free port of this machine."""

    def __init__(self, channel: str) -> None:
        self.postbox = Postbox(channel)
        self.port = 0
        self._ready = Event()
        self._loop = asyncio.new_event_loop()
        self._thread = Thread(target=self._run, name=f"{channel}-receiver", daemon=True)

    def start(self) -> None:
        """Listen."""
        self._thread.start()
        if not self._ready.wait(START_SECONDS):
            raise DemoError(f"The demo's {self.postbox.channel} receiver did not start.")

    def stop(self) -> None:
        """Stop listening."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.run_until_complete(self.open())
        self._ready.set()
        try:
            self._loop.run_forever()
        finally:
            self._loop.run_until_complete(self.close())
            self._loop.close()

    @abstractmethod
    async def open(self) -> None:
        """Begin to listen and set the port."""

    @abstractmethod
    async def close(self) -> None:
        """Close what is open."""


class WebhookReceiver(Receiver):
    """A dealer's endpoint: it verifies each signature from the raw body."""

    def __init__(self) -> None:
        super().__init__("webhook")
        self.secret = ""
        self._failures_left = 0
        self._lock = Lock()
        application = web.Application()
        application.router.add_post(PATH, self._take)
        self._runner = web.AppRunner(application, access_log=None, shutdown_timeout=1.0)

    @property
    def url(self) -> str:
        """Return the address to give to the service."""
        return f"http://{HOST}:{self.port}{PATH}"

    def fail_next(self, times: int) -> None:
        """Answer the next requests with 500, as an endpoint does whose database is down."""
        with self._lock:
            self._failures_left = times

    async def open(self) -> None:
        await self._runner.setup()
        await web.TCPSite(self._runner, HOST, 0).start()
        self.port = self._runner.addresses[0][1]

    async def close(self) -> None:
        await self._runner.cleanup()

    async def _take(self, request: web.Request) -> web.Response:
        raw = await request.read()
        at = time.monotonic()
        status = self._status_now()
        try:
            Webhook(self.secret).verify(raw, dict(request.headers))
            verified = True
        except WebhookVerificationError:
            verified, status = False, web.HTTPUnauthorized.status_code
        number = request.headers.get("webhook-id", "")
        notice = notice_in(json.loads(raw))
        self.postbox.put(Receipt(number, notice, at, status, verified, text=raw.decode()))
        return web.Response(status=status)

    def _status_now(self) -> int:
        with self._lock:
            if self._failures_left > 0:
                self._failures_left -= 1
                return web.HTTPInternalServerError.status_code
        return web.HTTPNoContent.status_code
