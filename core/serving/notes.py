"""How workers and beat come to write down that they live, from within Celery's own loops."""

import time
from typing import Any

import structlog
from celery import bootsteps
from celery.beat import Scheduler
from django.conf import settings

from core.serving.alive import EVERY_SECONDS, note

log = structlog.get_logger(__name__)


def write_note(name: str) -> None:
    """Write the note of a part. Where that fails the work goes on, and the health check says so."""
    try:
        note(settings.ALIVE_DIR, name)
    except OSError as error:
        log.warning("not_noted_alive", part=name, error=str(error))


class NotingConsumer(bootsteps.StartStopStep):
    """Writes the worker's note while it takes tasks from its broker."""

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, parent: Any, **kwargs: Any) -> None:
        super().__init__(parent, **kwargs)
        self.timer: Any = None

    def start(self, parent: Any) -> None:
        name = parent.hostname.partition("@")[0]
        write_note(name)
        self.timer = parent.timer.call_repeatedly(EVERY_SECONDS, write_note, (name,))

    def stop(self, parent: Any) -> None:
        del parent
        if self.timer is not None:
            self.timer.cancel()
            self.timer = None


class NotingScheduler(Scheduler):
    """Writes beat's note as it looks for what is due."""

    noted_at = -EVERY_SECONDS

    def tick(self, *args: Any, **kwargs: Any) -> float:
        wait: float = super().tick(*args, **kwargs)
        if time.monotonic() - self.noted_at >= EVERY_SECONDS:
            self.noted_at = time.monotonic()
            write_note("beat")
        return wait
