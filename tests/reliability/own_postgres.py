"""A PostgreSQL of a test's own, to be stopped and started again on its port."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
from pathlib import Path
from typing import Self

import psycopg
import pytest

from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import wait_until

PROGRAMS = Path("/usr/lib/postgresql")
UNPRIVILEGED = "nobody"


def program(name: str) -> str:
    """Return where a program of PostgreSQL lies; skip where there is none."""
    newest = sorted(PROGRAMS.glob(f"*/bin/{name}"))
    found = str(newest[-1]) if newest else shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


class OwnPostgres:
    """It refuses to be run by root, who gives it to somebody without rights."""

    def __init__(self) -> None:
        # Not below a test's own folder, which is closed to others.
        self.folder = Path(tempfile.mkdtemp(prefix="shutline-postgres-"))
        self.user = UNPRIVILEGED if os.geteuid() == 0 else None
        if self.user:
            os.chown(self.folder, pwd.getpwnam(self.user).pw_uid, -1)
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.url = f"postgres://postgres@127.0.0.1:{self.port}/postgres"
        subprocess.run(
            [program("initdb"), "-D", str(self.folder), "-A", "trust", "-U", "postgres", "-N"],
            user=self.user,
            cwd="/",
            check=True,
            stdout=subprocess.DEVNULL,
            timeout=PATIENCE_SECONDS,
        )
        self.process = self._start()

    def _start(self) -> "subprocess.Popen[bytes]":
        process = subprocess.Popen(
            [
                *(program("postgres"), "-D", str(self.folder), "-p", str(self.port)),
                *("-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories="),
                *("-c", "fsync=off", "-c", "log_min_messages=panic"),
            ],
            user=self.user,
            cwd="/",
            stderr=subprocess.DEVNULL,
        )
        wait_until(self._answers, "PostgreSQL")
        return process

    def _answers(self) -> bool:
        try:
            psycopg.connect(self.url).close()
        except psycopg.OperationalError:
            return False
        return True

    def stop(self) -> None:
        """End it at once, as a crash does: its connections break, and its port refuses others."""
        self.process.send_signal(signal.SIGQUIT)
        self.process.wait(PATIENCE_SECONDS)

    def start_again(self) -> None:
        """Start it on the same port."""
        self.process = self._start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.stop()
        shutil.rmtree(self.folder)
