"""Reads every table, every column and every file, to say where a word still stands."""

from collections.abc import Iterator
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from core.sealing import CannotUnseal, unseal


def places_of(*words: str) -> set[str]:
    """Return where any of the words stands: tables with their columns, and files by name."""
    wanted = [word.casefold() for word in words]
    found = {
        place
        for place, text in (*_columns(), *_files())
        if any(word in text.casefold() for word in wanted)
    }
    return found | {name for name, text in _raw() if any(word in text for word in wanted)}


def _columns() -> Iterator[tuple[str, str]]:
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")  # noqa: S608
            columns = [column[0] for column in cursor.description]
            for row in cursor.fetchall():
                for column, value in zip(columns, row, strict=True):
                    for text in _texts(value):
                        yield f"{table}.{column}", text


def _texts(value: Any) -> Iterator[str]:
    """Yield what a value says, and what it says once it is unsealed."""
    if isinstance(value, (memoryview, bytes)):
        value = bytes(value)
        yield value.decode(errors="replace")
        yield from _unsealed(value)
    elif value is not None:
        text = str(value)
        yield text
        if "\\u" in text:
            yield text.encode().decode("unicode_escape", errors="replace")
        yield from _unsealed(text.encode())


def _unsealed(value: bytes) -> Iterator[str]:
    if value.startswith(b"gAAAA"):
        try:
            yield unseal(value).decode(errors="replace")
        except CannotUnseal:
            return


def folders() -> list[Path]:
    """Return the folders that the service keeps files in."""
    photos = Path(settings.STORAGES["photos"]["OPTIONS"]["location"])
    mail = getattr(settings, "EMAIL_FILE_PATH", None)
    return [photos, *([Path(mail)] if mail else [])]


def _files() -> Iterator[tuple[str, str]]:
    for folder in folders():
        for path in folder.rglob("*"):
            if path.is_file():
                content = path.read_bytes()
                yield path.name, path.name + content.decode("latin-1")
                if path.suffix == ".log":
                    message = message_from_bytes(content, policy=policy.default)
                    for part in message.walk():
                        if part.get_content_maintype() == "text":
                            yield path.name, str(part.get_content())


def _raw() -> Iterator[tuple[str, str]]:
    """Yield the bytes of an SQLite database: what was deleted stands in it until written over."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        name = Path(str(connection.settings_dict["NAME"]).removeprefix("file:").partition("?")[0])
        for path in (name, Path(f"{name}-wal")):
            if path.exists():
                yield path.name, path.read_bytes().decode("latin-1").casefold()
