"""Looks at another database than the one that serves, with all that Django can do."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection


@contextmanager
def standing_on(name: str) -> Iterator[None]:
    """Have Django's connection use another database of the same server, or another file."""
    usual = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = name
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = usual
