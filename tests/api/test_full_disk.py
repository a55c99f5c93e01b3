"""A full disk: named to whoever asked, written down once a minute, and nothing half kept."""

import errno
import logging
import sqlite3
from collections.abc import Iterator
from typing import Any

import psycopg.errors
import pytest
from django.core.files.storage import FileSystemStorage
from django.db import OperationalError, connection
from django.test import Client

from core.full_disk import FullDiskOnceAMinute, is_full_disk
from jobs.work.models import Job
from tests.api.pictures import upload
from tests.api.steps import arrived
from tests.scene import Scene, order


def caused(cause: Exception) -> OperationalError:
    """Return Django's error as it comes of the database's own."""
    error = OperationalError(*cause.args)
    error.__cause__ = cause
    return error


FULL = [
    OSError(errno.ENOSPC, "No space left on device"),
    OSError(errno.EDQUOT, "Disk quota exceeded"),
    caused(sqlite3.OperationalError("database or disk is full")),
    caused(psycopg.errors.DiskFull("could not extend file")),
    caused(OSError(errno.ENOSPC, "No space left on device")),
]
OTHER = [
    OSError(errno.EACCES, "Permission denied"),
    caused(sqlite3.OperationalError("database is locked")),
    RuntimeError("database or disk is full"),  # somebody's words, not the database's
    None,
]


@pytest.mark.parametrize("error", FULL)
def test_a_full_disk_is_known(error: Exception) -> None:
    assert is_full_disk(error)


@pytest.mark.parametrize("error", OTHER)
def test_nothing_else_is_taken_for_one(error: Exception | None) -> None:
    assert not is_full_disk(error)


@pytest.fixture
def full_database(scene: Scene) -> Iterator[Scene]:
    """Stop the database from taking a further page, as SQLite has it where the disk is full."""
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite can be told that there is no more room")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        (pages,) = cursor.fetchone()
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        yield scene
        cursor.execute("PRAGMA max_page_count = 1073741823")


def test_an_order_that_finds_no_room_is_told_so_and_not_kept(full_database: Scene) -> None:
    api = full_database.dealer_api()
    kept = 0
    for number in range(200):
        sent = order(dealer_ref=f"S-{number}", registration=f"TU21 {number:03}", notes="x" * 2000)
        answer = api.post("/work-orders", sent)
        if answer.status_code != 201:
            break
        kept += 1
    assert answer.status_code == 503, answer.content
    assert answer.json()["type"] == "urn:shutline:problem:disk-full"
    assert answer.headers["Retry-After"] == "60"
    assert Job.objects.filter(dealer_ref__startswith="S-").count() == kept


def test_a_photograph_that_finds_no_room_is_told_so(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> str:
        raise OSError(errno.ENOSPC, "No space left on device")

    api, job = scene.workshop_api(), arrived(scene)
    monkeypatch.setattr(FileSystemStorage, "_save", refuse)
    answer = upload(api, job, moment="before", view="front")
    assert answer.status_code == 503
    assert answer.json()["type"] == "urn:shutline:problem:disk-full"


def test_where_django_itself_fails_it_is_told_too(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise caused(sqlite3.OperationalError("database or disk is full"))

    client.raise_request_exception = False
    monkeypatch.setattr("core.health.HttpResponse", refuse)
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["type"] == "urn:shutline:problem:disk-full"


def line(message: Any, error: Exception | None = None) -> logging.LogRecord:
    raised = (type(error), error, None) if error else None
    return logging.LogRecord("core", logging.ERROR, __file__, 1, message, None, raised)


def test_it_is_written_down_once_a_minute_by_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [1000.0]
    monkeypatch.setattr("core.full_disk.time.monotonic", lambda: clock[0])
    once, error = FullDiskOnceAMinute(), FULL[0]
    first = line({"event": "request_failed", "exc_info": error})
    assert once.filter(first)
    assert first.msg == {"event": "disk_full", "while": "request_failed", "exc_info": error}
    assert not once.filter(line({"event": "photo_not_stored", "exc_info": error}))
    assert not once.filter(line("Internal Server Error: /", error))
    assert once.filter(line("Internal Server Error: /", RuntimeError("else")))
    assert once.filter(line({"event": "sweep"}))
    clock[0] += 60
    later = line("Internal Server Error: /", error)
    assert once.filter(later)
    assert later.getMessage() == "disk_full: Internal Server Error: /"
