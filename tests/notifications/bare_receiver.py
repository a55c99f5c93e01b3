"""The barest receiver, so that a measurement measures the sender."""

import asyncio
import re
import socket

ANSWER = b"HTTP/1.1 204 No Content\r\n\r\n"
LENGTH = re.compile(rb"content-length: (\d+)", re.IGNORECASE)


class Bare(asyncio.Protocol):
    """Answers 204 to every complete request on a connection."""

    def __init__(self) -> None:
        self.data = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        self.data += data
        head, end, rest = self.data.partition(b"\r\n\r\n")
        length = LENGTH.search(head)
        if end and length and len(rest) >= int(length[1]):
            self.data = rest[int(length[1]) :]
            self.transport.write(ANSWER)


def serve(listening: socket.socket) -> None:
    """Serve on a listening socket until the process is ended."""

    async def forever() -> None:
        server = await asyncio.get_running_loop().create_server(Bare, sock=listening)
        await server.serve_forever()

    asyncio.run(forever())
