"""The drill in README, command by command, with real programs: back up, destroy, bring back.

A dealer's system posts orders and a valeter uploads photographs while the backup is made; what
happened after it is lost, and whoever counted on it is told.
"""

import io
import re
import secrets
import shlex
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from PIL import Image
from psycopg import sql

from core.ids import new_id
from jobs.demo.client import Answer, Client
from tests.api.pictures import drawn, encoded, form
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT, Service
from tests.reliability.world import FORMS, World, founded, orders, read_feed, read_pages

SECTION = re.compile(r"^### Back up, and bring back$(.*?)^### ", re.MULTILINE | re.DOTALL)
PLACE = "/srv/backups/monday"
MANAGE = ".venv/bin/python manage.py "
# Before the backup, while it is made (at least), and after it.
KEPT, MEANWHILE, LOST = 5, 3, 4
WORKSHOP_KEY = """
import django
django.setup()
from accounts.models import Organisation
from accounts.services import key_add
from tests.scene import WORKSHOP_SCOPES
workshop = Organisation.objects.get(kind="workshop")
key = key_add(organisation=workshop, name="bay", scopes=[str(scope) for scope in WORKSHOP_SCOPES])
print(key.secret)
"""


def commands() -> list[str]:
    """Return the commands of README's drill."""
    found = SECTION.search((ROOT / "README.md").read_text(encoding="utf-8"))
    assert found, "README has lost its section"
    return [line.strip() for line in found[1].splitlines() if line.startswith("    ")]


@dataclass(slots=True)
class Drill:
    """A world whose service, database and photographs come and go."""

    world: World
    photos: Path
    backup: Path
    workshop_key: str = ""
    service: Service | None = None
    lost: dict[str, Any] = field(default_factory=dict)

    def run(self, command: str) -> str:
        """Run a command of README as it stands, but for its folder; return what it printed."""
        assert command.startswith(MANAGE), command
        words = shlex.split(command.removeprefix(MANAGE).replace(PLACE, str(self.backup)))
        done = subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=self.world.environment_of(self.folder),
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE_SECONDS,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    @property
    def folder(self) -> Path:
        """Return the data folder."""
        return self.world.folder / "embedded"

    def start(self) -> None:
        """Start the web server: the feed does not need a worker."""
        self.service = Service(
            self.folder, "--port", "0", "--only", "web", environment=self.world.environment
        )
        self.world.running.enter_context(self.service).wait_until_ready()

    def kill(self) -> None:
        """End the service as a power cut does."""
        assert self.service is not None
        self.service.__exit__()

    def dealer(self) -> Client:
        """Return the dealer's system."""
        assert self.service is not None
        return Client(self.service.url, "The dealer's system", self.world.key)

    def bay(self) -> Client:
        """Return the workshop's system."""
        assert self.service is not None
        return Client(self.service.url, "The workshop's system", self.workshop_key)

    def destroy(self) -> None:
        """Leave neither a database nor a photograph."""
        shutil.rmtree(self.photos)
        for path in self.folder.glob("shutline.sqlite3*"):
            path.unlink()
        if self.world.on_servers:
            url = urlsplit(self.world.environment["DATABASE_URL"])
            name = sql.Identifier(url.path.removeprefix("/"))
            server = urlunsplit(url._replace(path="/postgres"))
            with psycopg.connect(server, autocommit=True) as connection:
                connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(name))
                connection.execute(sql.SQL("CREATE DATABASE {}").format(name))


def post_order(dealer: Client, number: int) -> tuple[str, str]:
    """Post one order under a key of its own; return the key and the job."""
    (body,) = orders(number, 1)
    key = f"order-{number}"
    answer = dealer.post("/work-orders", body, status=201, headers={"Idempotency-Key": key})
    return key, answer.json["id"]


def make_ready(bay: Client, job: str) -> None:
    """Book a car in, photograph it, and bring it to ready."""
    bay.post(f"/jobs/{job}/arrival")
    picture = drawn((640, 480), colour=tuple(secrets.token_bytes(3)))
    sent = form(encoded(picture), client_id=str(new_id()))
    kind = {"Content-Type": sent.content_type}
    bay.post(f"/jobs/{job}/photos", sent.content, status=201, headers=kind)
    for stage in ("cleaning", "ready"):
        version = bay.get(f"/jobs/{job}").json["version"]
        bay.post(f"/jobs/{job}/moves", {"to": stage, "version": version, "confirm": True})


@contextmanager
def writing(drill: Drill, first: int) -> Iterator[list[str]]:
    """Post orders and bring their cars to ready meanwhile; the list has the jobs so far."""
    jobs: list[str] = []
    stop = threading.Event()
    begun = threading.Event()

    def write() -> None:
        dealer, bay = drill.dealer(), drill.bay()
        number = first
        while not (stop.is_set() and len(jobs) >= MEANWHILE):
            begun.set()
            _, job = post_order(dealer, number)
            make_ready(bay, job)
            jobs.append(job)
            number += 1

    with ThreadPoolExecutor(1) as pool:
        work = pool.submit(write)
        assert begun.wait(PATIENCE_SECONDS)
        try:
            yield jobs
        finally:
            stop.set()
            work.result(timeout=PATIENCE_SECONDS)


def state(drill: Drill) -> dict[str, Any]:
    """Return what a dealer's system has of the service: cursors, tags and what it read."""
    dealer = drill.dealer()
    feed = dealer.get("/events?limit=500").json
    ready = dealer.get("/ready")
    return {
        "cursor": feed["cursor"],
        "events": [entry["id"] for entry in read_feed(dealer)],
        "etag": ready.headers["ETag"],
        "ready_cursor": ready.json["cursor"],
        "jobs": {job["id"] for job in read_pages(dealer, "/jobs")},
    }


@pytest.fixture(scope="module", params=FORMS)
def drill(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Drill]:
    """Play the drill up to its end, with a service that runs again."""
    folder = tmp_path_factory.mktemp("drill")
    photos = folder / "photos"
    store = {"SHUTLINE_PHOTO_STORE": f"file://{photos}"}
    backup, check, restore, serve = commands()
    with founded(request.param, folder, **store) as world:
        drill = Drill(world, photos, folder / "monday")
        drill.workshop_key = world.python("-c", WORKSHOP_KEY).strip()
        drill.start()
        kept = [post_order(drill.dealer(), number) for number in range(KEPT)]
        for _, job in kept[:2]:
            make_ready(drill.bay(), job)
        drill.lost["before"] = state(drill)
        with writing(drill, first=100) as meanwhile:
            drill.lost["printed"] = drill.run(backup)
        drill.lost["checked"] = drill.run(check)
        lost = [post_order(drill.dealer(), 200 + number) for number in range(LOST)]
        make_ready(drill.bay(), lost[0][1])
        drill.lost["after"] = state(drill)
        drill.lost["kept_orders"], drill.lost["lost_orders"] = kept, lost
        drill.lost["meanwhile"] = list(meanwhile)
        drill.kill()
        drill.destroy()
        drill.lost["restored"] = drill.run(restore)
        assert serve == "make serve"
        drill.start()
        yield drill


def ask(client: Client, path: str, **headers: str) -> Answer:
    return client.ask("GET", path, headers=headers)


def test_each_command_says_what_it_did(drill: Drill) -> None:
    assert "made: " in drill.lost["printed"]
    assert "restored for a trial and whole" in drill.lost["checked"]
    assert "Restored the backup of " in drill.lost["restored"]


def test_what_was_there_before_the_backup_is_there_and_what_came_after_is_not(
    drill: Drill,
) -> None:
    now = state(drill)
    assert now["jobs"] >= drill.lost["before"]["jobs"]
    lost = {job for _, job in drill.lost["lost_orders"]}
    assert not now["jobs"] & lost
    # Of what was written meanwhile a beginning: no order without those before it.
    meanwhile = drill.lost["meanwhile"]
    there = [job in now["jobs"] for job in meanwhile]
    assert there == sorted(there, reverse=True)
    before, count = drill.lost["before"]["events"], len(drill.lost["before"]["events"])
    assert now["events"][:count] == before


def test_every_history_leads_to_its_car_and_every_photograph_is_there(drill: Drill) -> None:
    dealer = drill.dealer()
    photographs = 0
    for job in read_pages(dealer, "/jobs"):
        entries = dealer.get(f"/jobs/{job['id']}/history").json["entries"]
        assert [entry["number"] for entry in entries] == list(range(1, len(entries) + 1))
        for photo in dealer.get(f"/jobs/{job['id']}/photos").json["photos"]:
            photographs += 1
            for link in photo["links"].values():
                content = dealer.get(urlsplit(link)._replace(scheme="", netloc="").geturl()
                                     .removeprefix("/api/v1")).body  # fmt: skip
                with Image.open(io.BytesIO(content)) as image:
                    image.load()
    assert photographs >= 2
    audit = (
        "import django; django.setup();"
        "from core.backup.books import wrong_in_books; print(wrong_in_books(9))"
    )
    assert drill.world.python("-c", audit).strip() == "[]"


def test_a_reader_of_the_feed_is_told_and_goes_on_without_a_gap(drill: Drill) -> None:
    dealer = drill.dealer()
    old = drill.lost["after"]["cursor"]
    refused = ask(dealer, f"/events?after={old}")
    assert refused.status == 409
    problem = refused.json
    assert problem["type"] == "urn:shutline:problem:restored"
    everything = {entry["id"] for entry in read_feed(dealer)}
    further = {entry["id"] for entry in read_feed(dealer, problem["cursor"])}
    seen = set(drill.lost["after"]["events"])
    assert everything <= seen | further
    read_before = ask(dealer, f"/events?after={drill.lost['before']['cursor']}").json
    caught_up = {entry["id"] for entry in read_feed(dealer, read_before["cursor"])}
    assert everything == set(drill.lost["before"]["events"]) | caught_up


def test_a_poll_of_ready_cars_gets_the_whole_list(drill: Drill) -> None:
    dealer = drill.dealer()
    for known in ("before", "after"):
        tag = drill.lost[known]["etag"]
        answer = ask(dealer, "/ready", **{"If-None-Match": tag})
        assert answer.status == 200
        old = drill.lost[known]["ready_cursor"]
        assert ask(dealer, f"/ready?after={old}").status == 409
    again = ask(dealer, "/ready", **{"If-None-Match": answer.headers["ETag"]})
    assert again.status == 304


def test_an_order_sent_again_under_its_key_acts_once(drill: Drill) -> None:
    dealer = drill.dealer()
    key, job = drill.lost["kept_orders"][0]
    assert post_order(dealer, 0) == (key, job)
    _, lost = drill.lost["lost_orders"][0]
    assert ask(dealer, f"/jobs/{lost}").status == 404
    _, fresh = post_order(dealer, 200)
    assert fresh != lost
    assert post_order(dealer, 200) == ("order-200", fresh)
    assert dealer.get(f"/jobs/{fresh}").json["dealer_ref"] == "PX-200"


def test_nothing_that_was_brought_back_can_be_read_by_others(drill: Drill) -> None:
    for folder in (drill.backup, drill.photos):
        for path in (folder, *folder.rglob("*")):
            assert path.stat().st_mode & 0o077 == 0, path
