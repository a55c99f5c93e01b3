"""Celery tasks of the core: tidying up."""

from celery import shared_task

from core.idempotency import purge_expired


@shared_task
def purge_idempotent_answers() -> None:
    """Drop the answers whose time is over."""
    purge_expired()
