"""A real mail server for the tests, on the loopback, which keeps what it takes."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from typing import Any

from aiosmtpd.controller import Controller


class MailServer:
    """Takes or refuses what aiosmtpd hands it."""

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.refusal = ""

    async def handle_RCPT(self, _s: Any, _x: Any, envelope: Any, address: str, _o: Any) -> str:  # noqa: N802
        if self.refusal:
            return self.refusal
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        self.messages.append(message_from_bytes(envelope.content))
        return "250 Taken"


@contextmanager
def serving() -> Iterator[tuple[MailServer, int]]:
    """Run a mail server; yield it and its port."""
    server = MailServer()
    with socket.create_server(("127.0.0.1", 0)) as free:  # aiosmtpd cannot choose a port itself
        port = int(free.getsockname()[1])
    controller = Controller(server, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield server, port
    finally:
        controller.stop()
