"""Proves a backup by restoring it, and restores it for good: the same steps but for the last."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import transaction
from django.db.migrations.loader import MigrationLoader

from core.backup.books import wrong_in_books
from core.backup.contents import NamedFile
from core.backup.engines import Engine, engine
from core.backup.files import files_check, files_restore, refuse_other_files
from core.backup.keys import field_keys_check, has_signing_key, refuse_other_keys
from core.backup.manifest import Manifest, inside, parts_check, release
from core.backup.problems import BackupError
from core.backup.standing import standing_on
from core.epoch import epoch_begin

MOST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Proved:
    """A backup that was restored, for good or to prove it."""

    manifest: Manifest
    rows: int
    files: int
    same_signing_key: bool


@dataclass(frozen=True, slots=True)
class _Copy:
    """A copy that was loaded, found to be what was written, and brought up to date."""

    name: str
    files: tuple[NamedFile, ...]


def backup_check(place: Path) -> Proved:
    """Restore a backup into a database of its own, look at all of it, and drop that again.

    Raises BackupError with what is wrong with it.
    """
    place = place.absolute()
    manifest = Manifest.read(place)
    source = _fitting(manifest)
    parts_check(place, manifest)
    with _loaded(source, place, manifest, to_stay=False) as copy, standing_on(copy.name):
        _begin(manifest.moment)
        wrong = wrong_in_books(MOST_SHOWN)
        if wrong:
            raise BackupError(f"The books of this backup are not right: {' '.join(wrong)}")
    return _proved(manifest)


def backup_restore(place: Path) -> Proved:
    """Restore a backup into an empty place; it appears there at once and whole.

    What its readers had counted on is told from what comes now by a new epoch, and everybody
    signs in again. Raises BackupError, and leaves the place as it was but for photographs, which
    the next restore finds there.
    """
    place = place.absolute()
    manifest = Manifest.read(place)
    source = _fitting(manifest)
    source.refuse_filled()
    parts_check(place, manifest)
    with _loaded(source, place, manifest, to_stay=True) as copy:
        refuse_other_files(manifest, copy.files)
        with standing_on(copy.name):
            _begin(manifest.moment)
        # Before the rows that name them: what is left of a restore that failed is files alone.
        files_restore(place, manifest, copy.files)
        source.put_in_place(copy.name)
    return _proved(manifest)


def begin_again(backup_made_at: datetime) -> None:
    """Begin a new epoch in a database that was brought back by other means than a backup."""
    refuse_other_keys()
    _begin(backup_made_at)


def _fitting(manifest: Manifest) -> Engine:
    """Return the engine for a backup that this release and its keys can restore."""
    here = engine()
    if manifest.database != here.kind:
        raise BackupError(
            f"This is a backup of a database of {manifest.database}, and DATABASE_URL names one "
            f"of {here.kind}. Restore it into one of its own kind."
        )
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    strange = [name for name in manifest.migrations if name not in known]
    if strange:
        raise BackupError(
            f"This backup was made by release {manifest.release}, which knows {strange[-1]}; this "
            f"is release {release()}, which does not. Install that release or a later one first."
        )
    field_keys_check(manifest)
    return here


@contextmanager
def _loaded(source: Engine, place: Path, manifest: Manifest, *, to_stay: bool) -> Iterator[_Copy]:
    with source.loaded(inside(place, manifest.dump), to_stay=to_stay) as name:
        contents = source.contents(name)
        if list(contents.migrations) != list(manifest.migrations):
            raise BackupError("The backup's database is not of the release that it tells.")
        differing = [
            f"{table} has {contents.counts.get(table, 0)} rows, not {count}"
            for table, count in manifest.counts.items()
            if contents.counts.get(table) != count
        ]
        if differing:
            shown = "; ".join(differing[:MOST_SHOWN])
            raise BackupError(f"Not all of the backup was restored: {shown}.")
        files_check(manifest, contents.files)
        with standing_on(name):
            call_command("migrate", interactive=False, verbosity=0)
            refuse_other_keys()
        yield _Copy(name, tuple(contents.files))


@transaction.atomic
def _begin(backup_made_at: datetime) -> None:
    """Begin a new epoch, and end the sign-ins: who signed out since would be signed in again."""
    epoch_begin(backup_made_at=backup_made_at)
    Session.objects.all().delete()


def _proved(manifest: Manifest) -> Proved:
    return Proved(
        manifest=manifest,
        rows=sum(manifest.counts.values()),
        files=len(manifest.parts) - 1,
        same_signing_key=has_signing_key(manifest),
    )
