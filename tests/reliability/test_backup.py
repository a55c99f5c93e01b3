"""What `backup` and `restore` refuse, and what they leave behind: on the database of the run."""

import json
import os
import shutil
import stat
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings as django_settings
from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import override_settings
from psycopg import sql

from core.backup.manifest import NAME, Manifest
from core.backup.standing import standing_on
from core.epoch import epoch_number
from core.field_keys import prove_keys
from core.ids import new_id
from core.models import Epoch
from core.serving.beat_lock import beat_lock
from jobs.work.models import Job, Rendition
from notifications.models import Event
from tests.api.pictures import upload
from tests.api.steps import done, ready
from tests.reliability.spoiling import SPOILT, a_key
from tests.scene import make_scene, person_api
from tests.servers import postgres_url

ON_POSTGRES = connection.vendor == "postgresql"
PHOTOGRAPHS = 2  # of two sizes each


@dataclass(frozen=True, slots=True)
class Served:
    """A database with a day's work in it, its photographs, and a backup of both."""

    database: str
    photos: Path
    backup: Path


@contextmanager
def a_database(folder: Path) -> Iterator[str]:
    """Lend a name for a database that is not there yet; on PostgreSQL it is dropped at the end."""
    if not ON_POSTGRES:
        yield str(folder / "shutline.sqlite3")
        return
    name = f"shutline_backup_{new_id().hex}"
    yield name
    drop(name)


def drop(database: str) -> None:
    """Destroy a database."""
    if not ON_POSTGRES:
        for path in Path(database).parent.glob(f"{Path(database).name}*"):
            path.unlink()
        return
    on_server("DROP DATABASE IF EXISTS {} WITH (FORCE)", database)


def on_server(statement: str, *names: str) -> None:
    with psycopg.connect(postgres_url() or "", autocommit=True) as server:
        server.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))


@contextmanager
def photos_in(folder: Path) -> Iterator[None]:
    store = {
        "BACKEND": "core.stores.FolderStore",
        "OPTIONS": {"location": str(folder)},
    }
    with override_settings(STORAGES={**django_settings.STORAGES, "photos": store}):
        yield


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    with ExitStack() as stack:
        stack.enter_context(django_db_blocker.unblock())
        name = stack.enter_context(a_database(folder))
        if ON_POSTGRES:
            on_server("CREATE DATABASE {}", name)
        stack.enter_context(standing_on(name))
        stack.enter_context(photos_in(folder / "photos"))
        call_command("migrate", verbosity=0)
        prove_keys(first=True)
        scene = make_scene()
        job = ready(scene)
        for _ in range(PHOTOGRAPHS):
            done(upload(scene.workshop_api(), job))
        person_api(scene.staff)  # somebody is signed in
        call_command("backup", folder / "backup", stdout=StringIO())
        yield Served(name, folder / "photos", folder / "backup")


@pytest.fixture
def backup(served: Served, tmp_path: Path) -> Path:
    """Return a copy of the backup, to be spoilt."""
    return Path(shutil.copytree(served.backup, tmp_path / "backup"))


@pytest.fixture
def fresh(served: Served, tmp_path: Path) -> Iterator[str]:
    """Stand in an empty place, as on a new machine, and return its database's name."""
    del served
    folder = tmp_path / "fresh"
    folder.mkdir()
    with a_database(folder) as name, standing_on(name), photos_in(folder / "photos"):
        yield name


def said(*arguments: Any) -> str:
    """Run a command that must go well, and return what it printed."""
    out = StringIO()
    call_command(*arguments, stdout=out, stderr=out)
    return out.getvalue()


def refusal(*arguments: Any) -> str:
    """Run a command that must fail, and return its sentence."""
    out = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command(*arguments, stdout=out, stderr=out)
    assert out.getvalue() == ""
    return str(caught.value)


def nothing_was_left(name: str) -> None:
    """Assert that a restore that was refused left neither a database nor a part of one."""
    if ON_POSTGRES:
        with psycopg.connect(postgres_url() or "") as server:
            names = [row[0] for row in server.execute("SELECT datname FROM pg_database")]
        assert name not in names
        assert [other for other in names if other.startswith(name[:40])] == []
    else:
        folder = Path(name).parent
        assert [path.name for path in folder.iterdir() if path.name != "photos"] == []
        photos = folder / "photos"
        assert not photos.exists() or not any(photos.rglob("*.jpg"))


# --- what is made --------------------------------------------------------------------------


def test_a_backup_holds_what_there_is_and_none_of_the_keys(served: Served, settings: Any) -> None:
    manifest = Manifest.read(served.backup)
    assert manifest.counts["jobs_job"] == Job.objects.count() == 1
    assert manifest.counts["jobs_rendition"] == 2 * PHOTOGRAPHS
    names = [f"photos/{row.name}" for row in Rendition.objects.all()]
    assert sorted(part.path for part in manifest.parts) == sorted([manifest.dump, *names])
    assert manifest.missing == []
    held = [path for path in served.backup.rglob("*") if path.is_file()]
    assert len(held) == len(manifest.parts) + 1
    for path in held:
        content = path.read_bytes()
        assert settings.SECRET_KEY.encode() not in content
        assert not any(key.encode() in content for key in settings.FIELD_KEYS)


def test_nobody_else_can_read_it(served: Served) -> None:
    for path in (served.backup, *served.backup.rglob("*")):
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), path


def test_it_is_proved_by_restoring_it(served: Served) -> None:
    rows = sum(Manifest.read(served.backup).counts.values())
    sentence = said("backup", "--check", served.backup)
    assert f"restored for a trial and whole: {rows} rows, {2 * PHOTOGRAPHS} pictures" in sentence
    assert epoch_number() == 0, "the database that serves is left alone"
    told = json.loads(said("backup", "--check", "--json", served.backup))
    assert (told["rows"], told["files"], told["missing"]) == (rows, 2 * PHOTOGRAPHS, [])


def test_a_backup_is_made_into_a_new_folder_only(served: Served, tmp_path: Path) -> None:
    assert "something at" in refusal("backup", served.backup)
    assert "Make it first" in refusal("backup", tmp_path / "nowhere" / "backup")
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_backup_leaves_nothing_that_looks_whole(
    served: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    del served

    def interrupt(*_: object) -> None:
        (draft,) = tmp_path.iterdir()
        assert draft.name.startswith(".monday.unfinished-")
        assert not (draft / NAME).exists()
        assert "is no backup" in refusal("backup", "--check", draft)
        raise KeyboardInterrupt

    monkeypatch.setattr("core.backup.make.files_copy", interrupt)
    with pytest.raises(KeyboardInterrupt):
        call_command("backup", tmp_path / "monday")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("how", ["gone", "altered"])
def test_a_photograph_that_is_not_there_is_named(served: Served, tmp_path: Path, how: str) -> None:
    row = Rendition.objects.order_by("name")[0]
    path = served.photos / row.name
    content = path.read_bytes()
    path.unlink()
    try:
        if how == "altered":
            path.write_bytes(b"something else")
        sentence = said("backup", tmp_path / "backup")
        assert f"Not there when the backup was made: photos/{row.name}" in sentence
        assert Manifest.read(tmp_path / "backup").missing == [f"photos/{row.name}"]
        assert not (tmp_path / "backup" / "photos" / row.name).exists()
        assert row.name in said("backup", "--check", tmp_path / "backup")
    finally:
        path.write_bytes(content)


def test_other_keys_make_no_backup(served: Served, tmp_path: Path) -> None:
    del served
    with override_settings(FIELD_KEYS=[a_key()]):
        assert "not among SHUTLINE_FIELD_KEYS" in refusal("backup", tmp_path / "backup")
    assert list(tmp_path.iterdir()) == []


def test_where_there_is_nothing_no_backup_is_made(fresh: str, tmp_path: Path) -> None:
    """A slip in the settings would else be kept as a backup of nothing."""
    if ON_POSTGRES:
        on_server("CREATE DATABASE {}", fresh)
    sentence = refusal("backup", tmp_path / "backup")
    assert ("nothing in this database" if ON_POSTGRES else "no database at") in sentence
    assert "with the settings of the service" in sentence
    assert not (tmp_path / "backup").exists()
    assert ON_POSTGRES or not Path(fresh).exists()


# --- what is restored ----------------------------------------------------------------------


def test_a_restore_brings_back_rows_and_photographs_in_a_new_epoch(
    backup: Path, fresh: str
) -> None:
    manifest = Manifest.read(backup)
    sentence = said("restore", backup)
    assert f"Restored the backup of {manifest.when}" in sentence
    job = Job.objects.get()
    assert job.stage == "ready"
    assert Event.objects.count() == manifest.counts["notifications_event"]
    for row in Rendition.objects.all():
        with storages["photos"].open(row.name) as file:
            assert len(file.read()) == row.length
    epoch = Epoch.objects.get()
    assert (epoch.before, epoch.backup_made_at) == (0, manifest.moment)
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM django_session")
        assert cursor.fetchone() == (0,)
    assert manifest.counts["django_session"] == 1
    if not ON_POSTGRES:
        connection.close()
        folder = Path(fresh).parent
        assert {path.name for path in folder.iterdir()} == {"shutline.sqlite3", "photos"}
        assert stat.S_IMODE(Path(fresh).stat().st_mode) == 0o600


def test_a_second_restore_is_refused_and_changes_nothing(backup: Path, fresh: str) -> None:
    said("restore", backup)
    epoch = epoch_number()
    sentence = refusal("restore", backup)
    assert ("tables already" if ON_POSTGRES else "something already") in sentence
    assert "stop the service" in sentence
    assert epoch_number() == epoch
    del fresh


def test_what_sqlite_left_beside_a_database_is_no_empty_place(backup: Path, fresh: str) -> None:
    if ON_POSTGRES:
        pytest.skip("only SQLite lays files beside its database")
    Path(f"{fresh}-wal").write_bytes(b"left")
    assert "shutline.sqlite3-wal" in refusal("restore", backup)
    assert Path(f"{fresh}-wal").read_bytes() == b"left"


def test_photographs_that_are_there_already_stay(served: Served, backup: Path, fresh: str) -> None:
    photos = Path(storages["photos"].location)  # type: ignore[attr-defined]  # a folder's
    shutil.copytree(served.photos, photos)
    before = {path: path.stat().st_mtime_ns for path in photos.rglob("*.jpg")}
    assert before
    said("restore", backup)
    assert {path: path.stat().st_mtime_ns for path in photos.rglob("*.jpg")} == before
    del fresh


def test_another_photograph_under_the_same_name_is_not_written_over(
    backup: Path, fresh: str
) -> None:
    path = Manifest.read(backup).parts[-1].path.removeprefix("photos/")
    storages["photos"].save(path, ContentFile(b"another"))
    assert "another file already" in refusal("restore", backup)
    with storages["photos"].open(path) as file:
        assert file.read() == b"another"
    storages["photos"].delete(path)
    nothing_was_left(fresh)


@pytest.mark.parametrize("how", SPOILT)
def test_a_backup_that_is_not_right_is_neither_proved_nor_restored(
    backup: Path, fresh: str, how: str
) -> None:
    spoil, sentence = SPOILT[how]
    spoil(backup)
    for command in (("backup", "--check", backup), ("restore", backup)):
        assert sentence in refusal(*command)
        nothing_was_left(fresh)


def test_every_field_key_of_then_must_be_here(served: Served, tmp_path: Path, fresh: str) -> None:
    """With the newest alone what is still sealed with the one before could not be opened."""
    del fresh
    newest, before = a_key(), django_settings.FIELD_KEYS
    with standing_on(served.database), override_settings(FIELD_KEYS=[newest, *before]):
        said("backup", tmp_path / "backup")
        assert "whole" in said("backup", "--check", tmp_path / "backup")
    with override_settings(FIELD_KEYS=[newest]):
        assert "1 of the 2 field keys" in refusal("restore", tmp_path / "backup")


def test_a_backup_of_an_earlier_release_is_brought_up_to_date(
    backup: Path, fresh: str, tmp_path: Path
) -> None:
    said("restore", backup)
    for app, last in (
        ("notifications", "0005_no_index_twice"),
        ("core", "0002_sweeps_and_key_proof"),
    ):
        call_command("migrate", app, last, verbosity=0)
    said("backup", tmp_path / "earlier")
    assert "core_epoch" not in Manifest.read(tmp_path / "earlier").counts
    connection.close()
    drop(fresh)
    said("restore", tmp_path / "earlier")
    assert Epoch.objects.get().before == 0
    assert Job.objects.count() == 1


def test_another_signing_key_is_said(backup: Path, fresh: str) -> None:
    del fresh
    with override_settings(SECRET_KEY="another"):
        assert "links that were sent would lead nowhere" in said("backup", "--check", backup)
        assert "Put back signing.key" in said("restore", backup)


def test_books_that_are_not_right_are_found(served: Served, tmp_path: Path) -> None:
    with standing_on(served.database):
        Job.objects.update(rework_count=7)
        try:
            said("backup", tmp_path / "backup")
            sentence = refusal("backup", "--check", tmp_path / "backup")
        finally:
            Job.objects.update(rework_count=0)
    assert "does not lead to the state it is stored in" in sentence


def test_a_restore_that_fails_at_the_last_step_leaves_the_place_empty(
    backup: Path, fresh: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("core.backup.restore.files_restore", fail)
    assert "No space left" in refusal("restore", backup)
    nothing_was_left(fresh)
    monkeypatch.undo()
    said("restore", backup)


def test_nothing_is_restored_under_a_service_that_runs(backup: Path, fresh: str) -> None:
    with beat_lock():
        for what in ((backup,), ("--brought-back-to", "2026-11-28T22:05Z")):
            assert "The service runs on" in refusal("restore", *what)
    nothing_was_left(fresh)


def test_a_database_brought_back_by_other_means_gets_its_epoch(backup: Path, fresh: str) -> None:
    del fresh
    said("restore", backup)
    first = epoch_number()
    said("restore", "--brought-back-to", "2026-11-28T22:05Z")
    epoch = Epoch.objects.get()
    assert (epoch.before, epoch.number != first) == (first, True)
    assert f"{epoch.backup_made_at:%d %H:%M}" == "28 22:05"
    assert "is no time" in refusal("restore", "--brought-back-to", "yesterday")


# --- PostgreSQL's own ----------------------------------------------------------------------


@pytest.mark.servers
def test_a_program_that_is_missing_or_too_old_is_named(
    served: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    del served
    programs = tmp_path / "bin"
    programs.mkdir()
    monkeypatch.setenv("PATH", str(programs))
    place = tmp_path / "backup"
    assert "pg_dump is not installed. Install PostgreSQL's client" in refusal("backup", place)
    old = programs / "pg_dump"
    old.write_text("#!/bin/sh\necho 'pg_dump (PostgreSQL) 9.6.24'\n")
    old.chmod(0o755)
    assert "pg_dump is of version 9, and the server of version" in refusal("backup", place)


@pytest.mark.servers
def test_a_restore_waits_for_nobody_who_is_connected(backup: Path, fresh: str) -> None:
    """A service that still runs would write into what is about to be replaced."""
    on_server("CREATE DATABASE {}", fresh)
    url = psycopg.conninfo.make_conninfo(postgres_url() or "", dbname=fresh)
    with psycopg.connect(url):
        assert "Stop the service" in refusal("restore", backup)
    said("restore", backup)
    assert Job.objects.count() == 1


@pytest.mark.servers
def test_the_password_is_on_no_command_line(
    served: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    del served
    programs = tmp_path / "bin"
    programs.mkdir()
    told = programs / "told"
    real = shutil.which("pg_dump")
    spy = programs / "pg_dump"
    spy.write_text(f'#!/bin/sh\necho "$@" >> {told}\nexec {real} "$@"\n')
    spy.chmod(0o755)
    monkeypatch.setenv("PATH", f"{programs}:{os.environ['PATH']}")
    monkeypatch.setitem(connection.settings_dict, "PASSWORD", "a-password-of-its-own")
    said("backup", tmp_path / "backup")
    assert "--snapshot=" in told.read_text()
    assert "a-password-of-its-own" not in told.read_text()
