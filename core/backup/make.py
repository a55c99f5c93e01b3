"""Makes a backup: whole under its name, or not there at all."""

import secrets
import shutil
from pathlib import Path

from core.backup.engines import engine
from core.backup.files import files_copy
from core.backup.keys import refuse_other_keys, sealed_lines, signed_line
from core.backup.manifest import FORMAT, Manifest, part_of, release
from core.backup.problems import BackupError
from core.clock import now
from core.stores import write_through


def backup_make(place: Path) -> Manifest:
    """Make a backup in a new folder, while the service goes on, and return its manifest.

    Until all of it is on the disk it has another name. Raises BackupError.
    """
    place = place.absolute()
    if place.exists() or place.is_symlink():
        raise BackupError(
            f"There is something at {place} already. Name a folder that is not there."
        )
    if not place.parent.is_dir():
        raise BackupError(f"There is no folder {place.parent}. Make it first.")
    draft = place.with_name(f".{place.name}.unfinished-{secrets.token_hex(4)}")
    draft.mkdir(mode=0o700)
    try:
        manifest = _fill(draft)
        draft.rename(place)
        write_through(place.parent)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return manifest


def _fill(place: Path) -> Manifest:
    source = engine()
    made_at = now()
    contents = source.copy_to(place / source.dump)
    refuse_other_keys()  # not before: looking into a file that is not there would make it
    copied = list(files_copy(place, contents.files))
    manifest = Manifest(
        format=FORMAT,
        release=release(),
        made_at=made_at.isoformat(),
        database=source.kind,
        dump=source.dump,
        migrations=contents.migrations,
        counts=contents.counts,
        parts=[part_of(place, source.dump), *(part for _, part in copied if part is not None)],
        missing=[file.path for file, part in copied if part is None],
        field_keys=sealed_lines(),
        signing_key=signed_line(),
    )
    manifest.write(place)
    return manifest
