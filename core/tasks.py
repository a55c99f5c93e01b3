"""Celery tasks of the core: tidying up, and fetching from sources."""

from celery import shared_task

from core.idempotency import purge_expired
from core.outbound.pull import fetch_due
from core.sweeps import note_sweep


@shared_task
def purge_idempotent_answers() -> None:
    """Drop the answers whose time is over."""
    purge_expired()


@shared_task
def fetch_sources() -> None:
    """Fetch what is due from its sources; one that hangs keeps one worker for seconds."""
    note_sweep("fetch_sources")
    fetch_due()


@shared_task
def sweep_work() -> None:
    """Note that the workers of the queue of work live; as often as those of notices do."""
    note_sweep("sweep_work")
