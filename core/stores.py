"""A folder of this machine as a store of files.

Names are never used twice and nothing is overwritten; a file is safe on the disk before the row
that names it is written. `core.buckets` is the other kind of store.
"""

import os
from pathlib import Path
from typing import Any

from django.core.files.storage import FileSystemStorage

from core.counting import counted_store


class CountedStore:
    """Counts what is asked of a store; stands before Django's class."""

    def save(self, *arguments: Any, **named: Any) -> str:
        with counted_store("save"):
            return str(super().save(*arguments, **named))  # type: ignore[misc]  # of the store

    def open(self, *arguments: Any, **named: Any) -> Any:
        with counted_store("open"):
            return super().open(*arguments, **named)  # type: ignore[misc]  # the same

    def delete(self, name: str) -> None:
        with counted_store("delete"):
            super().delete(name)  # type: ignore[misc]  # the same


class FolderStore(CountedStore, FileSystemStorage):
    """A folder that only its owner reads; what is saved in it outlives a power cut."""

    def __init__(self, location: str) -> None:
        super().__init__(
            location=location, file_permissions_mode=0o600, directory_permissions_mode=0o700
        )

    def _save(self, name: str, content: Any) -> str:
        saved: str = super()._save(name, content)  # type: ignore[misc]  # not in the stubs
        path = Path(self.path(saved))
        for place in (path, path.parent, Path(self.location)):
            write_through(place)
        return saved


def write_through(path: Path) -> None:
    """Wait until the disk itself has the file, or the folder's list of names."""
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
