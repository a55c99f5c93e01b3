"""Files of photographs that no row names are found and deleted.

A crash between a file and its row leaves one, and so does one between a row and its file when both
go. The store is read folder by folder; what is not called as we call files is somebody else's.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from jobs.retention.selectors.files import FOLDERS, files_without_row
from jobs.work.services.photographs.files import file_delete, store

# An upload writes its files before its rows: whatever is younger may be one.
LEFT_ALONE = timedelta(days=1)
FOLDERS_AT_ONCE = 256


@dataclass(frozen=True, slots=True)
class FoldersSwept:
    """What one look removed; `folder` is where the next goes on, empty after the last."""

    folder: str = ""
    deleted: int = 0
    oldest: datetime | None = None
    newest: datetime | None = None


def folders_sweep(*, at: datetime, after: str = "") -> FoldersSwept:
    """Look through the next folders of the store, and delete what is loose there for a day."""
    folders = [folder for folder in FOLDERS if folder > after][:FOLDERS_AT_ONCE]
    times = []
    for folder in folders:
        for name, when in files_without_row(store(), folder, before=at - LEFT_ALONE):
            file_delete(name)
            times.append(when)
    last = folders[-1] if len(folders) == FOLDERS_AT_ONCE else ""
    return FoldersSwept(last, len(times), min(times, default=None), max(times, default=None))
