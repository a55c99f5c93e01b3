"""What a web process asks of the system for its connections."""

import os
import resource
import socket
from contextlib import suppress
from pathlib import Path

import structlog

log = structlog.get_logger(__name__)

OPEN_FILES = 8192
# Linux's name for "close a connection whose other end takes nothing in"; absent elsewhere.
USER_TIMEOUT = getattr(socket, "TCP_USER_TIMEOUT", None)


def open_more_files() -> None:
    """Allow this process as many connections as the system lets it ask for, within reason."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = OPEN_FILES if hard == resource.RLIM_INFINITY else min(OPEN_FILES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def give_up_on_silence(seconds: float) -> int:
    """Close connections whose other end reads nothing of an answer for so long.

    What is set on the listening socket holds for every connection it takes. Returns on how many
    listening sockets it was set.
    """
    if USER_TIMEOUT is None:
        return 0
    found = 0
    for entry in Path("/proc/self/fd").iterdir():
        with suppress(OSError):  # closed meanwhile, or no socket
            if not str(entry.readlink()).startswith("socket:"):
                continue
            with socket.socket(fileno=os.dup(int(entry.name))) as place:
                if _listens(place):
                    place.setsockopt(socket.IPPROTO_TCP, USER_TIMEOUT, int(seconds * 1000))
                    found += 1
    return found


def _listens(place: socket.socket) -> bool:
    tcp = place.family in {socket.AF_INET, socket.AF_INET6} and place.type == socket.SOCK_STREAM
    return tcp and bool(place.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN))
