"""Celery tasks of the core: tidying up, and fetching from sources."""

from celery import shared_task

from core.idempotency import purge_expired
from core.outbound.pull import fetch_due
from core.sweeps import swept


@shared_task
@swept("purge_idempotent_answers")
def purge_idempotent_answers() -> None:
    """Drop the answers whose time is over."""
    purge_expired()


@shared_task
@swept("fetch_sources")
def fetch_sources() -> None:
    """Fetch what is due from its sources; one that hangs keeps one worker for seconds."""
    fetch_due()


@shared_task
@swept("sweep_work")
def sweep_work() -> None:
    """Note that the workers of the queue of work live; as often as those of notices do."""
