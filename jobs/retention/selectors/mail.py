"""The e-mails that are kept as files, where no server takes them."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings


def mail_folder() -> Path | None:
    """Return the folder that e-mails are written into, or None where they go to a server."""
    folder = getattr(settings, "EMAIL_FILE_PATH", None)
    return Path(folder) if folder else None


def mail_files() -> Iterator[tuple[Path, datetime]]:
    """Yield the files with e-mails, each with when it was last written."""
    folder = mail_folder()
    if folder is None or not folder.is_dir():
        return
    for path in sorted(folder.glob("*.log")):
        if path.is_file():
            yield path, datetime.fromtimestamp(path.stat().st_mtime, UTC)
