"""The Celery application: the queue carries wake-ups, never the truth."""

import os
from typing import Any

from celery import Celery
from celery.signals import setup_logging
from django_structlog.celery.steps import DjangoStructLogInitStep

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")

app = Celery("shutline")
app.config_from_object("core.queue_settings")
app.steps["worker"].add(DjangoStructLogInitStep)
app.autodiscover_tasks()


@setup_logging.connect
def keep_our_logging(**_: Any) -> None:
    """Leave logging as Django set it up; Celery's own set-up would replace it."""
