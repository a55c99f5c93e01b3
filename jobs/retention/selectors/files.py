"""What the store of photographs has against what the rows say that it has."""

import re
from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from django.core.files.storage import Storage

from jobs.work.models import Rendition

# As `file_put` calls them; a store adds an end of its own where a name was taken.
_OURS = re.compile(r"([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})-\d+\w*\.jpg")


# A folder is called by the end of a photograph's id, so that all there can be are known.
FOLDERS = tuple(f"{number:03x}" for number in range(16**3))


def files_without_row(
    store: Storage, folder: str, *, before: datetime
) -> list[tuple[str, datetime]]:
    """Return the files in a folder that no row names and that were put there before an instant."""
    there = {
        f"{folder}/{name}": UUID(match[1])
        for name in _names_in(store, folder)
        if (match := _OURS.fullmatch(name))
    }
    named = Rendition.objects.filter(photo__in=set(there.values()))
    loose = sorted(there.keys() - set(named.values_list("name", flat=True)))
    aged = [(name, store.get_modified_time(name)) for name in loose]
    return [(name, when) for name, when in aged if when < before]


def _names_in(store: Storage, folder: str) -> list[str]:
    try:
        return list(store.listdir(folder)[1])
    except FileNotFoundError:  # nothing was ever put into it
        return []


def rows_without_file(store: Storage) -> Iterator[str]:
    """Yield the names that rows give and the store does not have: one question a row."""
    for name in Rendition.objects.order_by("pk").values_list("name", flat=True).iterator():
        if not store.exists(name):
            yield name


def loose_files(store: Storage, *, before: datetime) -> Iterator[str]:
    """Yield the names of all files in a store that no row names."""
    for folder in FOLDERS:
        yield from (name for name, _ in files_without_row(store, folder, before=before))
