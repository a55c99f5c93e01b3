"""A task that fails, and one that takes its process along."""

import os
import signal

from celery import shared_task

from tests.reliability.faults import WORDS


@shared_task
def fail() -> None:
    """Fail with words that are nobody's business."""
    raise ValueError(WORDS)


@shared_task
def die() -> None:
    """Take the process along."""
    os.kill(os.getpid(), signal.SIGKILL)
