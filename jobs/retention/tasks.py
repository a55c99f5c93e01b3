"""The nightly sweep, looked after every ten minutes: it goes on where it stopped."""

from celery import shared_task

from core.clock import now
from core.sweeps import swept
from jobs.retention.services.sweep import is_time, sweep


@shared_task
@swept("sweep_retention")
def sweep_retention() -> None:
    """Remove what is over, for two minutes at most, where it is night and there is any left."""
    at = now()
    if is_time(at):
        sweep(at=at)
