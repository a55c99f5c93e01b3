"""The files that the database names, photographs above all: out of their store and back into it.

They are content that only grows: copied after the database, each one that it names is there.
"""

import hashlib
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

from django.core.files.base import File
from django.core.files.storage import storages

from core.backup.contents import NamedFile
from core.backup.manifest import Manifest, Part, inside, part_of
from core.backup.problems import BackupError
from core.stores import write_through

CHUNK_BYTES = 1024 * 1024


def files_copy(place: Path, files: Sequence[NamedFile]) -> Iterator[tuple[NamedFile, Part | None]]:
    """Copy files into a backup; yield each with its part, or None where it is not there whole."""
    for file in files:
        to = inside(place, file.path)
        to.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            with storages[file.store].open(file.name) as stored, to.open("xb") as copy:
                shutil.copyfileobj(stored, copy, CHUNK_BYTES)
        except FileNotFoundError:
            to.unlink(missing_ok=True)
            yield file, None
            continue
        part = part_of(place, file.path)
        if part.sha256 != file.sha256:
            to.unlink()
        yield file, part if part.sha256 == file.sha256 else None
    for folder in (path for path in place.rglob("*") if path.is_dir()):
        write_through(folder)


def files_check(manifest: Manifest, files: Sequence[NamedFile]) -> None:
    """Raise BackupError where a backup has not the files that its database names."""
    missing = set(manifest.missing)
    bad = [
        file.path
        for file in files
        if file.path not in missing
        and getattr(manifest.by_path.get(file.path), "sha256", None) != file.sha256
    ]
    if bad:
        raise BackupError(
            f"The database of this backup names {len(bad)} files that it has not, {bad[0]} among "
            "them. Use an earlier backup."
        )


def refuse_other_files(manifest: Manifest, files: Sequence[NamedFile]) -> None:
    """Raise BackupError where a store has another file under the name of one to restore."""
    for file in _here(manifest, files):
        if not _is_stored(file):
            raise BackupError(
                f"There is another file already where {file.path} belongs. Empty the store of "
                f"{file.store} first (SHUTLINE_PHOTO_STORE), or name another."
            )


def files_restore(place: Path, manifest: Manifest, files: Sequence[NamedFile]) -> int:
    """Put the files of a backup into their stores, and return how many; those there stay."""
    there = set(_here(manifest, files))
    count = 0
    for file in files:
        if file.path not in manifest.by_path or file in there:
            continue
        with inside(place, file.path).open("rb") as copy:
            saved = storages[file.store].save(file.name, File(copy))
        if saved != file.name:
            storages[file.store].delete(saved)
            raise BackupError(
                f"Somebody has put a file where {file.path} belongs meanwhile. Stop the service "
                "first, then try it again."
            )
        count += 1
    return count


def _here(manifest: Manifest, files: Sequence[NamedFile]) -> Iterator[NamedFile]:
    """Yield the files of a backup that their store has already, the same or not."""
    for file in files:
        if file.path in manifest.by_path and storages[file.store].exists(file.name):
            yield file


def _is_stored(file: NamedFile) -> bool:
    digest = hashlib.sha256()
    with storages[file.store].open(file.name) as stored:
        for chunk in stored.chunks():
            digest.update(chunk)
    return digest.hexdigest() == file.sha256
