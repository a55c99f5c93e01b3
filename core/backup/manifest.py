"""`manifest.json`: what a backup holds, who made it and which keys belong to it."""

import hashlib
import json
import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Self

from django.conf import settings

from core.backup.problems import BackupError
from core.stores import write_through

FORMAT = 1
NAME = "manifest.json"
MOST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a backup: its path in the folder, and what it was when it was written."""

    path: str
    length: int  # bytes
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """All that is known of a backup without opening its database."""

    format: int
    release: str
    made_at: str  # RFC 3339, UTC: when the copy of the database began
    database: str  # sqlite or postgresql
    dump: str  # the path of the part with the database
    migrations: Sequence[str]
    counts: Mapping[str, int]  # rows by table
    parts: Sequence[Part]
    missing: Sequence[str]  # files that the database names and that were not there
    field_keys: Sequence[str]  # a known line, sealed with each
    signing_key: str  # a known line, signed

    @cached_property
    def by_path(self) -> Mapping[str, Part]:
        """Return the parts by their paths."""
        return {part.path: part for part in self.parts}

    @property
    def moment(self) -> datetime:
        """Return when it was made."""
        return datetime.fromisoformat(self.made_at)

    @property
    def when(self) -> str:
        """Return when it was made, to the minute, as a person reads it."""
        return f"{self.moment:%Y-%m-%d %H:%M} UTC"

    @classmethod
    def read(cls, place: Path) -> Self:
        """Return the manifest in a folder. Raises BackupError where there is no whole one."""
        try:
            told = json.loads((place / NAME).read_bytes())
        except FileNotFoundError as error:
            raise BackupError(
                f"{place} is no backup: it has no {NAME}. One that was interrupted never gets it; "
                "name the folder of a whole one."
            ) from error
        except ValueError as error:
            raise BackupError(f"{place / NAME} is damaged. Use another copy of it.") from error
        number = told.get("format") if isinstance(told, dict) else None
        if number != FORMAT:
            raise BackupError(
                f"{place} is a backup of format {number!r}, and this release reads {FORMAT}. "
                "Restore it with the release that made it or a later one."
            )
        try:
            datetime.fromisoformat(told["made_at"])
            return cls(**{**told, "parts": [Part(**part) for part in told["parts"]]})
        except (KeyError, TypeError, ValueError) as error:
            raise BackupError(f"{place / NAME} is damaged. Use another copy of it.") from error

    def write(self, place: Path) -> None:
        """Write it, so that after a power cut it is there whole or not at all."""
        draft = place / f".{NAME}"
        draft.write_text(json.dumps(asdict(self), indent=1) + "\n", encoding="utf-8")
        write_through(draft)
        draft.replace(place / NAME)
        write_through(place)


def release() -> str:
    """Return the version of this release."""
    with (Path(settings.BASE_DIR) / "pyproject.toml").open("rb") as file:
        return str(tomllib.load(file)["project"]["version"])


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def part_of(place: Path, path: str) -> Part:
    """Return what a file in the folder is, once the disk itself has it."""
    file = inside(place, path)
    write_through(file)
    return Part(path, file.stat().st_size, digest_of(file))


def inside(place: Path, path: str) -> Path:
    """Return the path below a folder. Raises BackupError for one that leads out of it."""
    found = Path(os.path.normpath(place / path))
    if not found.is_relative_to(place) or found == place:
        raise BackupError(f"The backup names {path!r}, which lies outside of it. Do not use it.")
    return found


def parts_check(place: Path, manifest: Manifest) -> None:
    """Raise BackupError, naming them, where parts are missing or are not what they were."""
    bad = [part.path for part in manifest.parts if not _is_whole(place, part)]
    if manifest.dump not in manifest.by_path:
        bad.append(manifest.dump)
    if bad:
        more = f" and {len(bad) - MOST_SHOWN} more" if len(bad) > MOST_SHOWN else ""
        shown = ", ".join(bad[:MOST_SHOWN]) + more
        raise BackupError(
            f"{place} is damaged: {shown} {'is' if len(bad) == 1 else 'are'} missing or not what "
            "was written. Use another copy of this backup, or an earlier one."
        )


def _is_whole(place: Path, part: Part) -> bool:
    file = inside(place, part.path)
    try:
        return file.stat().st_size == part.length and digest_of(file) == part.sha256
    except OSError:
        return False
