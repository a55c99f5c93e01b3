"""The Celery application: the queue carries wake-ups, never the truth."""

import os
from typing import Any

import structlog
from celery import Celery
from celery.signals import setup_logging, worker_shutting_down
from django_structlog.celery.steps import DjangoStructLogInitStep

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


@worker_shutting_down.connect
def begin_nothing_new(sender: str, **_: Any) -> None:
    """Let what runs end soon: `serve` waits a few seconds only."""
    stop_soon()
    log.warning("worker_stops", worker=sender, begins="nothing new")
