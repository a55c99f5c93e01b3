"""The engine's tasks. The queue carries no notices, only the word that some may be due."""

from contextlib import nullcontext

from celery import shared_task

from core.stopping import is_stopping
from core.sweeps import swept
from notifications.engine.run import anything_due, deliver
from notifications.services.health import endpoints_review
from notifications.services.wake import wake_deliverer


@shared_task
def deliver_due(*, sweep: bool = False) -> None:
    """Deliver what is due; `sweep` says that beat asked, which is written down for /readyz."""
    with swept("deliver_due") if sweep else nullcontext():
        if not is_stopping() and anything_due() and deliver().time_is_up:
            wake_deliverer()


@shared_task
def review_endpoints() -> None:
    """Warn about and disable endpoints that fail for long."""
    with swept("review_endpoints"):
        endpoints_review()
