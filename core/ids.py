"""Identifiers: UUIDv7 (RFC 9562), which sort by the time they were made."""

from uuid import UUID

from uuid_utils.compat import uuid7


def new_id() -> UUID:
    """Return a fresh UUIDv7."""
    return uuid7()
