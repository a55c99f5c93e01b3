"""A receiver in a process of its own: takes every notice and, for one path, notes when."""

import asyncio
import multiprocessing
import socket
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

from aiohttp import web

START = multiprocessing.get_context("spawn")


@dataclass(slots=True)
class Receiver:
    """A running receiver; `arrivals` reads when each notice on /timed arrived, by its id."""

    url: str
    process: BaseProcess
    pipe: Connection

    def arrivals(self) -> dict[str, float]:
        """Return the arrival times (Unix seconds) of the notices on /timed so far."""
        self.pipe.send("arrivals")
        seen: dict[str, float] = self.pipe.recv()
        return seen

    def stop(self) -> None:
        """End the process."""
        self.process.terminate()
        self.process.join()


def start() -> Receiver:
    """Start a receiver on a free port of the loopback."""
    listener = socket.create_server(("127.0.0.1", 0))
    ours, theirs = START.Pipe()
    process = START.Process(target=_serve, args=(listener, theirs), daemon=True)
    process.start()
    port = listener.getsockname()[1]
    return Receiver(f"http://127.0.0.1:{port}", process, ours)


def _serve(listener: socket.socket, pipe: Connection) -> None:
    asyncio.run(_run(listener, pipe))


async def _run(listener: socket.socket, pipe: Connection) -> None:
    seen: dict[str, float] = {}

    async def take(request: web.Request) -> web.Response:
        arrived = time.time()
        await request.read()
        if request.path == "/timed":
            seen.setdefault(request.headers["webhook-id"], arrived)
        return web.Response(status=204)

    app = web.Application()
    app.router.add_post("/{path:.*}", take)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.SockSite(runner, listener, backlog=1024).start()
    while True:
        await asyncio.to_thread(pipe.recv)
        pipe.send(dict(seen))
