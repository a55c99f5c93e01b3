"""The one clock: aware UTC, so that tests can move it and nobody mixes zones."""

from datetime import UTC, datetime


def now() -> datetime:
    """Return the present instant in UTC."""
    return datetime.now(UTC)
