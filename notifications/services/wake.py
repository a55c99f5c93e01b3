"""The wake-up: tells a worker that something may be due, and never stops a request."""

import structlog
from celery import current_app
from kombu.exceptions import OperationalError

log = structlog.get_logger(__name__)

WAKE_UP_EXPIRES_SECONDS = 60


def wake_deliverer() -> None:
    """Ask a worker to look for due deliveries; where the broker is down, the sweep will."""
    try:
        current_app.send_task(
            "notifications.tasks.deliver_due", expires=WAKE_UP_EXPIRES_SECONDS, retry=False
        )
    except (OperationalError, OSError) as error:
        log.warning("wake_up_lost", error=str(error))
