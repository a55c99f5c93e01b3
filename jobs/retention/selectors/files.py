"""What the store of photographs has against what the rows say that it has."""

import re
from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from django.core.files.storage import Storage

from jobs.work.models import Rendition

# As `file_put` calls them; a store adds an end of its own where a name was taken.
_OURS = re.compile(r"([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})-\d+\w*\.jpg")


def folder_after(store: Storage, after: str) -> str:
    """Return the folder of a store that comes after one, in order; empty where there is none."""
    try:
        return min((name for name in store.listdir("")[0] if name > after), default="")
    except FileNotFoundError:  # nothing was ever put into it
        return ""


def files_without_row(
    store: Storage, folder: str, *, before: datetime
) -> list[tuple[str, datetime]]:
    """Return the files in a folder that no row names and that were put there before an instant."""
    there = {
        f"{folder}/{name}": UUID(match[1])
        for name in store.listdir(folder)[1]
        if (match := _OURS.fullmatch(name))
    }
    named = Rendition.objects.filter(photo__in=set(there.values()))
    loose = sorted(there.keys() - set(named.values_list("name", flat=True)))
    aged = [(name, store.get_modified_time(name)) for name in loose]
    return [(name, when) for name, when in aged if when < before]


def rows_without_file(store: Storage) -> Iterator[str]:
    """Yield the names that rows give and the store does not have: one question a row."""
    for name in Rendition.objects.order_by("pk").values_list("name", flat=True).iterator():
        if not store.exists(name):
            yield name


def loose_files(store: Storage, *, before: datetime) -> Iterator[str]:
    """Yield the names of all files in a store that no row names."""
    folder = folder_after(store, "")
    while folder:
        yield from (name for name, _ in files_without_row(store, folder, before=before))
        folder = folder_after(store, folder)
