"""The real `manage.py serve` on a free port, in a folder of its own, for tests that end it."""

import atexit
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Self

from tests.patience import PATIENCE_SECONDS

ROOT = Path(__file__).resolve().parents[2]
POLL_SECONDS = 0.05
DATABASE = "shutline.sqlite3"


def wait_until(true: Callable[[], object], what: str, seconds: float = PATIENCE_SECONDS) -> None:
    """Poll until a condition holds; fail with a sentence where it does not in time."""
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline, f"{what}: not within {seconds:.0f} s"
        time.sleep(POLL_SECONDS)


def clean_environment() -> dict[str, str]:
    """Return this process's environment without what would set the service up by accident."""
    ours = ("SHUTLINE_", "DATABASE_URL", "CELERY_", "DJANGO_", "PYTEST_")
    return {name: value for name, value in os.environ.items() if not name.startswith(ours)}


def get(url: str) -> int:
    """Return the status of a GET, or 0 where nobody answers."""
    try:
        with urllib.request.urlopen(url, timeout=PATIENCE_SECONDS) as answer:  # noqa: S310  always http
            return int(answer.status)
    except urllib.error.HTTPError as error:
        error.close()
        return error.code
    except OSError:
        return 0


@cache
def _migrated() -> Path:
    """Return a database with every table and no row, made once for all tests of this process."""
    folder = Path(tempfile.mkdtemp(prefix="shutline-tables-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    migrate({"SHUTLINE_DATA_DIR": str(folder)})
    return folder / DATABASE


def migrate(environment: Mapping[str, str]) -> None:
    """Make the tables of a service in this environment, as the command that does it."""
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "--verbosity", "0"],
        cwd=ROOT,
        env={**clean_environment(), **environment},
        check=True,
        timeout=PATIENCE_SECONDS,
    )


def with_tables(folder: Path) -> Path:
    """Put a database into a data folder, so that a service there has no tables to make."""
    shutil.copyfile(_migrated(), folder / DATABASE)
    return folder


class Service:
    """A running `serve`; leaving the `with` block kills whatever it has left behind."""

    def __init__(
        self, folder: Path, *arguments: str, environment: Mapping[str, str], root: Path = ROOT
    ) -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        self.errors = folder / "stderr.log"
        self.output = folder / "stdout.log"
        with self.output.open("w") as output, self.errors.open("w") as errors:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "serve", *arguments],
                cwd=root,
                env={**clean_environment(), "SHUTLINE_DATA_DIR": str(folder), **environment},
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=errors,
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for pid in self.processes():
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue

    @property
    def url(self) -> str:
        """Return where it answers, as it says itself."""
        found = re.search(r"http://127\.0\.0\.1:\d+", self.output.read_text())
        assert found, self.errors.read_text()
        return found[0]

    def wait_until_ready(self) -> None:
        """Wait for the line that says it is up."""
        wait_until(
            lambda: self.output.read_text() or self.process.poll() is not None, "the ready line"
        )
        assert self.process.poll() is None, self.errors.read_text()

    def processes(self) -> dict[int, str]:
        """Return every living process with this data folder in its environment, and its command."""
        mark = f"SHUTLINE_DATA_DIR={self.folder}\0".encode()
        found = {}
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                if mark in (entry / "environ").read_bytes():
                    command = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                    found[int(entry.name)] = command
            except (FileNotFoundError, ProcessLookupError, PermissionError):
                continue  # gone, or somebody else's
        return {pid: command for pid, command in found.items() if command}

    def leader(self, part: str) -> int | None:
        """Return the process id of the part's first process."""
        for pid, command in self.processes().items():
            if part == "web":
                found = "-m granian" in command and parent(pid) == self.process.pid
            else:
                found = name_of(pid) == part != name_of(parent(pid))
            if found:
                return pid
        return None

    def group(self, leader: int) -> set[int]:
        """Return a living leader with the processes that it started."""
        return {pid for pid in self.processes() if leader in {pid, parent(pid)}}

    def stop(self, number: signal.Signals) -> int:
        """Send a signal and return the exit code."""
        self.process.send_signal(number)
        return self.process.wait(timeout=PATIENCE_SECONDS)


def stat(pid: int) -> list[str]:
    """Return the fields of /proc/PID/stat from the state on: state, parent, process group."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return ["gone", "0", "0"]
    return text.rpartition(")")[2].split()


def state(pid: int) -> str:
    """Return the letter of the process's state, as in proc(5); T is stopped."""
    return stat(pid)[0]


def parent(pid: int) -> int:
    """Return the parent's process id."""
    return int(stat(pid)[1])


def name_of(pid: int) -> str:
    """Return what the process is called, as in `ps -o comm`."""
    try:
        return Path(f"/proc/{pid}/comm").read_text().strip()
    except (FileNotFoundError, ProcessLookupError):
        return ""
