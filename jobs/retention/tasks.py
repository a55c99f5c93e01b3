"""The nightly sweep, looked after every ten minutes: it goes on where it stopped."""

from celery import shared_task

from core.clock import now
from core.sweeps import swept
from jobs.retention.services.sweep import is_time, sweep


class StepsFailed(Exception):  # noqa: N818  it says what happened
    """Steps of the sweep failed; the others did their work."""


@shared_task
@swept("sweep_retention")
def sweep_retention() -> None:
    """Remove what is over, for two minutes at most, where it is night and there is any left.

    Raises StepsFailed where one failed, so that /readyz does not take it for done.
    """
    at = now()
    if is_time(at) and (failed := sweep(at=at).failed):
        raise StepsFailed(f"{', '.join(failed)} failed; the log of retention_step_failed says why.")
