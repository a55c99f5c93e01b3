"""A listening address of its own for /metrics, beside the public one.

Each web process listens there: the system gives a scrape to one of them, which adds up what all
programs of this `serve` counted. Where `serve` runs no web part, a program of its own listens; what
the probes say is the same everywhere and is left to the web part.
"""

import signal
import socket
import sys
import threading
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from django.conf import settings
from django.db import connections
from prometheus_client import CONTENT_TYPE_LATEST

from core.env import split_place
from core.numbers import bears_token, is_near, text

SILENCE_SECONDS = 10


class NumbersServer(ThreadingHTTPServer):
    """Shares its address with the other web processes; `read` returns the numbers."""

    daemon_threads = True
    allow_reuse_port = True

    def __init__(self, host: str, port: int, read: Callable[[], bytes]) -> None:
        self.read = read
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        self.address_family = found[0][0]
        super().__init__((host, port), NumbersHandler)


class NumbersHandler(BaseHTTPRequestHandler):
    """Answers GET and HEAD of /metrics to whoever is near or has the token."""

    server: NumbersServer
    timeout = SILENCE_SECONDS
    server_version = "shutline"
    sys_version = ""

    def do_GET(self) -> None:
        """Answer with the numbers."""
        self.reply(with_body=True)

    def do_HEAD(self) -> None:
        """Answer with their headers."""
        self.reply(with_body=False)

    def reply(self, *, with_body: bool) -> None:
        """Answer in Prometheus' text format, or say why not."""
        near = is_near(str(self.client_address[0]))
        if self.path.partition("?")[0] != "/metrics":
            self.send_error(HTTPStatus.NOT_FOUND, "Ask for /metrics.")
            return
        if not near and not bears_token(self.headers.get("Authorization", "")):
            self.send_error(HTTPStatus.FORBIDDEN, "Send the token, or ask from an allowed network.")
            return
        try:
            body = self.server.read()
        finally:
            connections.close_all()  # this thread ends with the connection
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", CONTENT_TYPE_LATEST)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        if with_body:
            self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the library's name
        """Write no line for a scrape."""


def listening(read: Callable[[], bytes]) -> NumbersServer:
    """Return a server where the settings say, whose scrapes get what `read` returns."""
    return NumbersServer(*split_place(settings.METRICS_LISTEN), read)


def serve_numbers(read: Callable[[], bytes]) -> None:
    """Listen in a thread of this process where the settings say, if they do."""
    if settings.METRICS_LISTEN:
        server = listening(read)
        threading.Thread(target=server.serve_forever, name="numbers", daemon=True).start()


def main() -> None:
    """Listen until told to stop; the programs beside this one count in the folder they share."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with listening(text) as server:
        server.serve_forever()


if __name__ == "__main__":
    main()
