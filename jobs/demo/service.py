"""Starts `manage.py serve` for the demo in a fresh data folder of its own, and stops it.

None of the caller's own settings reach it: a demo never writes into a real database.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta, timezone
from http import HTTPStatus
from pathlib import Path
from threading import Event
from typing import Any

from core.serving import warden
from jobs.demo.client import DemoError

HOST = "127.0.0.1"
START_SECONDS = 180.0  # a busy machine; where a program ended, it is said at once
STOP_SECONDS = 15.0
POLL_SECONDS = 0.1
FOUNDING_SECONDS = 60.0
LAST_LINES = 12
DAY_ENDS_AT = 17  # o'clock
EASTERNMOST, DAY_HOURS = 11, 24


def zone_where_the_day_ends(now: datetime) -> timezone:
    """Return the whole-hour zone whose clocks now show between five and six in the afternoon.

    The day is told in device times of the last hours; anywhere else it would be told by night.
    """
    ahead = (DAY_ENDS_AT - now.astimezone(UTC).hour) % DAY_HOURS
    return timezone(timedelta(hours=ahead - DAY_HOURS if ahead > EASTERNMOST else ahead))


def zone_name(zone: timezone) -> str:
    """Return the zone's name in the zone database, where the sign is the other way round."""
    hours = round(zone.utcoffset(None) / timedelta(hours=1))
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/UTC"


class Service:
    """The service as a child process, and the folder it lives in."""

    def __init__(self, *, root: Path, data: Path, port: int, mail_port: int, zone: str) -> None:
        self.root = root
        self.port = port
        stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
        self.folder = data / "demo" / f"{stamp}-{os.getpid()}"
        self.log = self.folder / "service.log"
        self.url = f"http://{HOST}:{port}"
        self.keep = False  # the folder, once it has stopped
        self.process: subprocess.Popen[bytes] | None = None
        self.warden: subprocess.Popen[bytes] | None = None
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("SHUTLINE_", "DATABASE_URL", "CELERY_", "DJANGO_"))
        }
        self.environment = {
            **kept,
            "DJANGO_SETTINGS_MODULE": "core.settings",
            "SHUTLINE_DATA_DIR": str(self.folder),
            "SHUTLINE_PUBLIC_URL": self.url,
            "SHUTLINE_TIME_ZONE": zone,
            "SHUTLINE_ALLOW_PLAIN_HTTP": "1",
            "SHUTLINE_OPEN_NETWORKS": f"{HOST}/32",
            "SHUTLINE_RETRY_SECONDS": "0,1,1,2,5,5,10",
            "SHUTLINE_SWEEP_SECONDS": "1",
            "SHUTLINE_DELIVERY_TIMEOUT_SECONDS": "5",
            "SHUTLINE_EMAIL_URL": f"smtp://{HOST}:{mail_port}",
            "SHUTLINE_EMAIL_FROM": "Fernhollow Valeting <notices@fernhollow.example>",
            "SHUTLINE_LOG_LEVEL": "WARNING",
        }

    def start(self) -> None:
        """Start it and wait until it answers."""
        self.folder.mkdir(parents=True)
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(  # noqa: S603  our own command
                [sys.executable, "manage.py", "serve", "--host", HOST, "--port", str(self.port)],
                cwd=self.root,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,  # a Ctrl-C is ours to pass on
            )
        self._set_warden(self.process.pid)
        self._wait_for("/healthz")

    def wait_until_ready(self) -> None:
        """Wait until worker and beat are at work too."""
        self._wait_for("/readyz")

    def _set_warden(self, group: int) -> None:
        """Start a process that stops the service where this one is killed without a word."""
        self.warden = subprocess.Popen(  # noqa: S603  our own file
            [sys.executable, "-I", "-S", str(Path(warden.__file__))],
            stdin=subprocess.PIPE,
            start_new_session=True,
        )
        if self.warden.stdin:
            self.warden.stdin.write(f"{group}\n".encode())
            self.warden.stdin.flush()

    def _wait_for(self, path: str) -> None:
        deadline = time.monotonic() + START_SECONDS
        pause = Event()
        while (said := self._ask(path)) != "":
            if not self.alive():
                raise DemoError(f"The service stopped while starting:\n{self.last_lines()}")
            if time.monotonic() > deadline:
                raise DemoError(
                    f"{self.url}{path} did not answer 200 within {START_SECONDS:.0f} s; it says: "
                    f"{said}\nThe log is {self.log}."
                )
            pause.wait(POLL_SECONDS)

    def found(self) -> dict[str, Any]:
        """Make organisations, people and keys with the management commands."""
        try:
            done = subprocess.run(
                [sys.executable, "-m", "jobs.demo.founding"],
                cwd=self.root,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=FOUNDING_SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise DemoError(
                f"The management commands took over {FOUNDING_SECONDS:.0f} s."
            ) from error
        if done.returncode:
            complaint = done.stderr.decode(errors="replace").strip()
            raise DemoError(f"Making the organisations, people and keys failed:\n{complaint}")
        made: dict[str, Any] = json.loads(done.stdout)
        return made

    def alive(self) -> bool:
        """Return whether the process still runs."""
        return self.process is not None and self.process.poll() is None

    def stop(self) -> None:
        """Stop it with everything it started."""
        if self.process and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(STOP_SECONDS)
            except subprocess.TimeoutExpired:
                os.killpg(self.process.pid, signal.SIGKILL)
                self.process.wait()
        if self.warden:
            self.warden.kill()
            self.warden.communicate()

    def remove_folder(self) -> None:
        """Throw the demo's data away."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def last_lines(self) -> str:
        """Return the end of the service's log."""
        lines = self.log.read_text(errors="replace").splitlines() if self.log.exists() else []
        return "\n".join(lines[-LAST_LINES:])

    def _ask(self, path: str) -> str:
        """Return nothing where the answer is 200, else what it says instead."""
        try:
            with urllib.request.urlopen(f"{self.url}{path}", timeout=2.0) as answer:  # noqa: S310  our own child
                return "" if answer.status == HTTPStatus.OK else f"status {answer.status}"
        except urllib.error.HTTPError as error:
            with error:
                return error.read().decode(errors="replace")
        except OSError as error:
            return str(error)
