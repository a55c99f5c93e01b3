"""The release before this one, at work while this one changes the tables under it.

Its code is taken out of the repository's history (`RELEASE_BEFORE` in `tests/servers.py`).
"""

import json
import subprocess
import sys
import tarfile
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any, Self

import psycopg

from jobs.demo.client import Client, DemoError
from tests.servers import RELEASE_BEFORE

ROOT = Path(__file__).resolve().parents[2]
ID_LENGTH = 30  # what is longer in a path is an id
LETTERS = "BCDFGHJKLM"  # no vowels, so that no mark spells anything
# Of the release before: run in its folder, it prints the keys of a dealer and of its workshop.
FOUND = """
import django
django.setup()
import json
from accounts.services import dealer_add, key_add, workshop_add
from tests.scene import DEALER_SCOPES, WORKSHOP_SCOPES
account = dealer_add(name="Brackmoor Cars", workshop=workshop_add(name="Fernhollow Valeting"))
print(json.dumps([
    key_add(organisation=place, name="system", scopes=[str(scope) for scope in scopes]).secret
    for place, scopes in ((account.dealer, DEALER_SCOPES), (account.workshop, WORKSHOP_SCOPES))
]))
"""
STOP = {
    "kind": "mechanical",
    "weight": "do_not_drive",
    "area": "brakes",
    "noticed": "The brake pedal sinks under a steady foot.",
    "advice": "Have it looked at before anybody drives it.",
}


def unpack(folder: Path) -> Path:
    """Write the code of the release before into a folder, and return that."""
    packed = subprocess.run(
        ["git", "archive", RELEASE_BEFORE], cwd=ROOT, stdout=subprocess.PIPE, check=True
    )
    with tarfile.open(fileobj=BytesIO(packed.stdout)) as archive:
        archive.extractall(folder, filter="data")
    return folder


@dataclass(frozen=True, slots=True)
class Release:
    """The code of a release, and the environment its programs run in."""

    folder: Path
    environment: Mapping[str, str]

    def start(self, *arguments: str) -> "subprocess.Popen[str]":
        """Start Python in the folder of this release."""
        return subprocess.Popen(
            [sys.executable, *arguments],
            cwd=self.folder,
            env={**self.environment, "DJANGO_SETTINGS_MODULE": "core.settings"},
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *arguments: str) -> str:
        """Run Python in the folder of this release, and return what it printed."""
        process = self.start(*arguments)
        output, _ = process.communicate()
        if process.returncode:
            raise subprocess.CalledProcessError(process.returncode, arguments)
        return output

    def found(self) -> tuple[str, str]:
        """Make a dealer with its workshop; return the key of each."""
        dealer, workshop = json.loads(self.run("-c", FOUND))
        return dealer, workshop


@dataclass(frozen=True, slots=True)
class Call:
    """One request: what it asked, when, how long the answer took and what that was."""

    name: str
    began: float
    seconds: float
    status: int
    body: bytes


class Load:
    """Sends a car after another through the workshop until the `with` block ends, and notes all."""

    def __init__(self, url: str, keys: tuple[str, str], *, first: int = 0) -> None:
        dealer, workshop = keys
        self.dealer = Client(url, "The dealer's system", dealer)
        self.workshop = Client(url, "The workshop's system", workshop)
        self.calls: list[Call] = []
        self.cars: list[str] = []  # that were sent all the way
        self.number = first
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._send)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    @property
    def failed(self) -> list[Call]:
        """Return the calls that were not answered as they should be."""
        return [call for call in self.calls if not 200 <= call.status < 300]

    def _send(self) -> None:
        while not self._over.is_set():
            self.number += 1
            self._send_car()

    def _send_car(self) -> None:
        """Send one car: ordered, booked in, dressed, and found not fit to be driven."""
        mark = "".join(LETTERS[int(digit)] for digit in f"{self.number:03}"[-3:])
        order = {
            "dealer_ref": f"PX-{self.number}",
            "registration": f"TU{self.number // 1000 + 21} {mark}",
            "make": "Corvane",
            "model": "Lynd 1.4",
            "operations": ["wash_body", "trim_dressing"],
        }
        job = self._ask(self.dealer, "POST", "/work-orders", order)
        self._ask(self.dealer, "GET", "/jobs")
        self._ask(self.dealer, "GET", "/ready")
        if "id" not in job:
            return
        path = f"/jobs/{job['id']}"
        job = self._ask(self.workshop, "POST", f"{path}/arrival", {})
        move = {"to": "cleaning", "version": job.get("version")}
        self._ask(self.workshop, "POST", f"{path}/moves", move)
        for task in self._ask(self.workshop, "GET", path).get("tasks", ()):
            if task["operation"] == "trim_dressing":
                self._ask(self.workshop, "POST", f"{path}/tasks/{task['id']}/start", {})
                self._ask(self.workshop, "POST", f"{path}/tasks/{task['id']}/finish", {})
        self._ask(self.workshop, "POST", f"{path}/findings", STOP)
        self.cars.append(job.get("id", ""))

    def _ask(self, client: Client, method: str, path: str, body: Any = None) -> Any:
        began = time.monotonic()
        try:
            answer = client.ask(method, path, body)
            status, text = answer.status, answer.body
        except DemoError as error:
            status, text = 0, str(error).encode()
        plain = "/".join("…" if len(part) > ID_LENGTH else part for part in path.split("/"))
        seconds = time.monotonic() - began
        self.calls.append(Call(f"{method} {plain}", began, seconds, status, text))
        return json.loads(text) if 200 <= status < 300 and text else {}


# Who has waited for how long, for what the migration holds or waits for before them.
_WAITING = """
SELECT waiting.pid, waiting.waitstart::text,
       extract(epoch FROM clock_timestamp() - waiting.waitstart), who.query
  FROM pg_locks waiting JOIN pg_stat_activity who ON who.pid = waiting.pid
 WHERE NOT waiting.granted AND waiting.waitstart IS NOT NULL AND who.application_name <> 'migrate'
   AND who.datname = current_database() AND who.backend_type = 'client backend'
   AND pg_blocking_pids(waiting.pid)
       && ARRAY(SELECT pid FROM pg_stat_activity WHERE application_name = 'migrate')
"""
# The tables that the migration holds so that nobody reads them; those it has just made are its own.
_HELD = """
SELECT closed.relname
  FROM pg_locks held JOIN pg_stat_activity who ON who.pid = held.pid
  JOIN pg_class closed ON closed.oid = held.relation AND closed.relkind = 'r'
 WHERE held.granted AND held.mode = 'AccessExclusiveLock' AND who.application_name = 'migrate'
   AND who.datname = current_database()
"""
SAMPLE_SECONDS = 0.01


@dataclass(slots=True)
class Watch:
    """Looks at PostgreSQL's locks again and again; the migration is called `migrate` there."""

    database: str
    waited: dict[tuple[int, str, str], float] = field(default_factory=dict)
    held: dict[str, float] = field(default_factory=dict)  # the longest time at one go
    samples: int = 0

    @contextmanager
    def watching(self) -> Iterator[Self]:
        """Look while the block runs."""
        over = threading.Event()
        thread = threading.Thread(target=self._look, args=(over,))
        thread.start()
        try:
            yield self
        finally:
            over.set()
            thread.join()

    @property
    def longest_wait(self) -> float:
        """Return the seconds that any statement waited for a lock."""
        return max(self.waited.values(), default=0.0)

    def _look(self, over: threading.Event) -> None:
        since: dict[str, float] = {}
        with psycopg.connect(self.database, autocommit=True) as connection:
            while not over.wait(SAMPLE_SECONDS):
                for pid, began, seconds, query in connection.execute(_WAITING):
                    key = (pid, began, query)
                    self.waited[key] = max(self.waited.get(key, 0.0), float(seconds))
                moment = time.monotonic()
                held = {relation for (relation,) in connection.execute(_HELD)}
                since = {relation: since.get(relation, moment) for relation in held}
                for relation, began_at in since.items():
                    self.held[relation] = max(self.held.get(relation, 0.0), moment - began_at)
                self.samples += 1
