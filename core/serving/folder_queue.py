"""A Celery queue in a folder, one file a message: the broker where no server is installed.

kombu's own `filesystem` transport makes a file visible before it has been written, so that a
reader who is quick takes an empty message: it is lost and its worker stops. Here a message
appears whole, under its final name, or not at all.
"""

import os
import time
from collections import defaultdict, deque
from itertools import islice
from pathlib import Path
from queue import Empty
from typing import Any
from uuid import uuid4

import structlog
from kombu.transport import virtual
from kombu.utils.json import dumps, loads

log = structlog.get_logger(__name__)

SUFFIX = ".message"
LONGEST_WAIT_SECONDS = 0.2
MOST_COUNTED = 10_000


class Channel(virtual.Channel):
    """Keeps each queue in a folder of its own below the transport option `folder`."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Names listed and not yet looked at, so that a long queue is not listed for each message.
        self._listed: dict[str, deque[str]] = defaultdict(deque)

    def _folder(self, queue: str) -> Path:
        client: Any = self.connection.client  # never None while the channel is open
        folder = Path(client.transport_options["folder"]) / queue
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    def _names(self, queue: str) -> list[str]:
        return sorted(name for name in os.listdir(self._folder(queue)) if name.endswith(SUFFIX))  # noqa: PTH208  names are all we need

    def _put(self, queue: str, message: Any, **_: Any) -> None:
        folder = self._folder(queue)
        name = f"{time.time_ns():020d}-{uuid4().hex}"
        half_written = folder / f"{name}.part"
        half_written.write_text(dumps(message), encoding="utf-8")
        half_written.rename(folder / f"{name}{SUFFIX}")

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        del timeout  # the transport waits, not the channel
        folder, listed = self._folder(queue), self._listed[queue]
        if not listed:
            listed.extend(self._names(queue))
        while listed:
            path = folder / listed.popleft()
            try:
                text = path.read_text(encoding="utf-8")
                path.unlink()  # whoever removes it owns it
            except FileNotFoundError:
                continue  # another worker was quicker
            try:
                return loads(text)
            except ValueError:
                # A power cut can leave an empty file; the sweep finds what it stood for.
                log.warning("queue_message_unreadable", file=path.name)
        raise Empty

    def waiting(self, queue: str) -> int:
        """Return how many messages wait in a queue; more than MOST_COUNTED are not counted."""
        with os.scandir(self._folder(queue)) as entries:
            found = (entry for entry in entries if entry.name.endswith(SUFFIX))
            return sum(1 for _ in islice(found, MOST_COUNTED))

    def _size(self, queue: str) -> int:
        return len(self._names(queue))

    def _purge(self, queue: str) -> int:
        names = self._names(queue)
        for name in names:
            (self._folder(queue) / name).unlink(missing_ok=True)
        return len(names)


class Transport(virtual.Transport):
    """The folder as a kombu transport; every connection of a process shares its bindings."""

    Channel = Channel
    global_state = virtual.BrokerState()
    default_port = 0
    driver_type = "filesystem"
    driver_name = "filesystem"
    # A folder that cannot be used is a broker that is away: the worker stays, and tries again.
    connection_errors = (*virtual.Transport.connection_errors, OSError)

    def __init__(self, client: Any, **kwargs: Any) -> None:
        super().__init__(client, **kwargs)
        self.state = self.global_state

    def drain_events(self, connection: Any, timeout: float | None = None, **kwargs: Any) -> None:
        # Celery's worker waits up to 2 s, twice, before it looks whether it was told to stop.
        if timeout is not None:
            timeout = min(timeout, LONGEST_WAIT_SECONDS)
        super().drain_events(connection, timeout=timeout, **kwargs)

    def driver_version(self) -> str:
        return "1"
