"""Celery tasks of the core: tidying up; and how any periodic task says that it ran."""

from celery import shared_task

from core.clock import now
from core.idempotency import purge_expired
from core.models import Sweep


def note_sweep(name: str) -> None:
    """Write down that a worker took the sweep: beat, broker and worker all live."""
    Sweep.objects.update_or_create(name=name, defaults={"last_run_at": now()})


@shared_task
def purge_idempotent_answers() -> None:
    """Drop the answers whose time is over."""
    purge_expired()
