"""The Celery application: the queue carries wake-ups, never the truth."""

import os
from typing import Any

import structlog
from celery import Celery
from celery.signals import setup_logging, worker_process_shutdown, worker_shutting_down
from django_structlog.celery.signals import bind_extra_task_metadata
from django_structlog.celery.steps import DjangoStructLogInitStep
from structlog.contextvars import bind_contextvars, clear_contextvars

from core import tracing
from core.stopping import stop_soon

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")

log = structlog.get_logger(__name__)

app = Celery("shutline")
app.config_from_object("core.queue_settings")
app.steps["worker"].add(DjangoStructLogInitStep)
app.autodiscover_tasks()


@setup_logging.connect
def keep_our_logging(**_: Any) -> None:
    """Leave logging as Django set it up; Celery's own set-up would replace it."""


def name_task(task: Any, **_: Any) -> None:
    """Have every line about a task name it."""
    bind_contextvars(task=task.name)


bind_extra_task_metadata.connect(name_task)


@worker_process_shutdown.connect
def send_traces(**_: Any) -> None:
    """Send what this process has still to tell before it ends."""
    tracing.end()


@worker_shutting_down.connect
def begin_nothing_new(sender: str, **_: Any) -> None:
    """Let what runs end soon: `serve` waits a few seconds only."""
    stop_soon()
    clear_contextvars()  # of a task that was lost with its process
    log.warning("worker_stops", worker=sender, begins="nothing new")
