"""Keeps what is in the data folder for its owner: every file 0600, every folder 0700.

A umask holds for whatever a process makes from then on, in any way: the database and what SQLite
lays beside it, e-mails, queue and photographs. What an older version left open is closed here.
"""

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

NOBODY_ELSE = 0o077
FILES = ("shutline.sqlite3*", "*.key", "beat.lock", "mail/*", "queue/*/*", "alive/*")
FOLDERS = ("mail", "queue", "queue/*", "photos", "alive")


def keep_private(folder: Path) -> None:
    """Make this process create files for their owner only, and close what it made before.

    The data folder itself may hold what is not ours: only the deployment check speaks of it.
    """
    os.umask(NOBODY_ELSE)
    for path in _ours(folder):
        # Gone meanwhile, or somebody else's: the deployment check looks at what stays open.
        with suppress(OSError):
            mode = path.stat().st_mode
            if mode & NOBODY_ELSE:
                path.chmod(mode & ~NOBODY_ELSE & 0o777)


def open_to_others(folder: Path) -> list[str]:
    """Return the names, in the data folder, of what others may open: itself as a full stop."""
    return [
        str(path.relative_to(folder))
        for path in (folder, *_ours(folder))
        if path.exists() and path.stat().st_mode & NOBODY_ELSE
    ]


def _ours(folder: Path) -> Iterator[Path]:
    for pattern in (*FILES, *FOLDERS):
        yield from (path for path in folder.glob(pattern) if not path.is_symlink())
