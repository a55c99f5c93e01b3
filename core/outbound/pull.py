"""Fetches what is due from every source that an app has registered."""

import structlog

from core.outbound.fetch import fetch_all
from core.outbound.sources import SOURCES

log = structlog.get_logger(__name__)


def fetch_due() -> None:
    """Fetch all that is due at once, and hand each answer to the app that wants it."""
    due = [(name, source, wanted) for name, source in SOURCES.items() for wanted in source.claim()]
    answers = fetch_all([wanted.url for _, _, wanted in due])
    for (name, source, wanted), fetched in zip(due, answers, strict=True):
        try:
            source.keep(wanted, fetched)
        except Exception:  # one answer that nobody foresaw must not keep the others from theirs
            log.exception("fetched_not_kept", source=name, owner_id=str(wanted.owner_id))
