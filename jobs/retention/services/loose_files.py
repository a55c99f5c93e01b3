"""Files of photographs that no row names are found and deleted.

A crash between a file and its row leaves one, and so does one between a row and its file when both
go. The store is read folder by folder; what is not called as we call files is somebody else's.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from jobs.retention.selectors.files import files_without_row, folder_after
from jobs.work.services.photographs.files import file_delete, store

# An upload writes its files before its rows: whatever is younger may be one.
LEFT_ALONE = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class FolderSwept:
    """What one look removed; `folder` is where the next goes on, empty after the last."""

    folder: str = ""
    deleted: int = 0
    oldest: datetime | None = None
    newest: datetime | None = None


def folder_sweep(*, at: datetime, after: str = "") -> FolderSwept:
    """Look through the next folder of the store, and delete what is loose in it for a day."""
    folder = folder_after(store(), after)
    if not folder:
        return FolderSwept()
    loose = files_without_row(store(), folder, before=at - LEFT_ALONE)
    for name, _ in loose:
        file_delete(name)
    times = [when for _, when in loose]
    return FolderSwept(folder, len(loose), min(times, default=None), max(times, default=None))
