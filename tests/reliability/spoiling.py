"""The ways in which a backup is spoilt, and what is said of each."""

import json
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from cryptography.fernet import Fernet

from core.backup.manifest import NAME, Manifest
from core.field_keys import LINE
from core.sealing import seal_with


def changed(backup: Path, **changes: Any) -> None:
    """Rewrite members of the manifest."""
    told = json.loads((backup / NAME).read_text())
    (backup / NAME).write_text(json.dumps({**told, **changes}))


def a_key() -> str:
    return Fernet.generate_key().decode()


def spoil_dump(backup: Path) -> None:
    dump = backup / Manifest.read(backup).dump
    content = bytearray(dump.read_bytes())
    content[len(content) // 2] ^= 0xFF
    dump.write_bytes(content)


def spoil_photograph(backup: Path) -> None:
    next(backup.rglob("*.jpg")).write_bytes(b"x")


def lose_photograph(backup: Path) -> None:
    next(backup.rglob("*.jpg")).unlink()


def forget_photograph(backup: Path) -> None:
    manifest = Manifest.read(backup)
    kept = [part for part in manifest.parts if not part.path.endswith(".jpg")]
    replace(manifest, parts=kept).write(backup)


def miscount(backup: Path) -> None:
    counts = dict(Manifest.read(backup).counts)
    changed(backup, counts={**counts, "jobs_job": counts["jobs_job"] + 1})


def lead_out(backup: Path) -> None:
    parts = json.loads((backup / NAME).read_text())["parts"]
    changed(backup, parts=[*parts, {**parts[-1], "path": "../outside.jpg"}])


SPOILT: dict[str, tuple[Callable[[Path], object], str]] = {
    "damaged dump": (spoil_dump, "is missing or not what was written"),
    "damaged photograph": (spoil_photograph, "is missing or not what was written"),
    "lost photograph": (lose_photograph, "is missing or not what was written"),
    "unlisted photographs": (forget_photograph, "names 4 files that it has not"),
    "other count": (miscount, "jobs_job has 1 rows, not 2"),
    "path that leads out": (lead_out, "lies outside"),
    "no manifest": (lambda backup: (backup / NAME).unlink(), "is no backup"),
    "cut manifest": (lambda backup: os.truncate(backup / NAME, 200), "is damaged"),
    "other manifest": (lambda backup: (backup / NAME).write_text('{"format": 1}'), "is damaged"),
    "later format": (lambda backup: changed(backup, format=2), "format 2"),
    "other kind": (lambda backup: changed(backup, database="another"), "of its own kind"),
    "newer release": (
        lambda backup: changed(backup, release="9.9", migrations=["jobs.9999_more"]),
        "made by release 9.9, which knows jobs.9999_more",
    ),
    "unlisted dump": (
        lambda backup: changed(backup, parts=[]),
        "is missing or not what was written",
    ),
    "other release": (
        lambda backup: changed(backup, migrations=["jobs.0001_initial"]),
        "not of the release that it tells",
    ),
    "other keys": (
        lambda backup: changed(backup, field_keys=[seal_with(a_key(), LINE).decode()]),
        "1 of the 1 field keys that belong to this backup is not here",
    ),
}
