"""What the programs count for Prometheus beside requests: tasks, sweeps, messages, connections.

Each process counts what it does itself: tasks and sweeps stand in the numbers of workers, what
beat sent in those of beat. Where `serve` runs several parts, they count together.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from celery.signals import (
    after_task_publish,
    task_failure,
    task_postrun,
    task_prerun,
    worker_init,
)
from django.db.backends.signals import connection_created
from django.dispatch import receiver
from prometheus_client import Counter, Histogram
from structlog.contextvars import bind_contextvars

from core.periodic import SCHEDULE

TASK_BUCKETS = (0.1, 1.0, 5.0, 20.0, 60.0, 300.0)
GOOD, FAILED = "good", "failed"
TASK_SECONDS = Histogram(
    "shutline_task_seconds", "Seconds a task took.", ["task"], buckets=TASK_BUCKETS
)
TASK_FAILURES = Counter("shutline_task_failures", "Tasks that failed.", ["task"])
SWEEP_RUNS = Counter(
    "shutline_sweep_runs", "Sweeps that did their work, or failed.", ["name", "result"]
)
MESSAGES = Counter("shutline_messages_sent", "Messages put in the queue.", ["task"])
CONNECTIONS = Counter("shutline_database_connections_opened", "Connections made to the database.")
STORE = Counter(
    "shutline_store_operations", "What was asked of the store of files.", ["operation", "result"]
)
for _operation in ("save", "open", "delete"):
    for _result in (GOOD, "missing", FAILED):
        STORE.labels(_operation, _result)  # so that the first failure is an increase


@contextmanager
def counted_store(operation: str) -> Iterator[None]:
    """Count what is asked of the store, and what came of it."""
    try:
        yield
    except FileNotFoundError:
        STORE.labels(operation, "missing").inc()
        raise
    except OSError:
        STORE.labels(operation, FAILED).inc()
        raise
    STORE.labels(operation, GOOD).inc()


@contextmanager
def counted_sweep(name: str) -> Iterator[None]:
    """Count a sweep by how it ended."""
    try:
        yield
    except Exception:
        SWEEP_RUNS.labels(name, FAILED).inc()
        raise
    SWEEP_RUNS.labels(name, GOOD).inc()


@worker_init.connect
def begin_at_nothing(**_: Any) -> None:
    """Give every sweep its numbers, so that the first failure is an increase."""
    for entry in SCHEDULE.values():
        for result in (GOOD, FAILED):
            SWEEP_RUNS.labels(entry["task"].rpartition(".")[2], result)


@task_prerun.connect
def note_beginning(task: Any, **_: Any) -> None:
    """Remember when a task began."""
    task.request.shutline_began = time.perf_counter()


@task_postrun.connect
def count_task(task: Any, **_: Any) -> None:
    """Count the seconds that a task took, however it ended."""
    began = getattr(task.request, "shutline_began", None)
    if began is not None:
        TASK_SECONDS.labels(task.name).observe(time.perf_counter() - began)


@task_failure.connect
def count_failure(sender: Any, task_id: str, **_: Any) -> None:
    """Count a task that failed, or was lost with its process: then its line has no other name."""
    TASK_FAILURES.labels(sender.name).inc()
    bind_contextvars(task_id=task_id, task=sender.name)


@after_task_publish.connect
def count_message(sender: str, **_: Any) -> None:
    """Count a message by its task."""
    MESSAGES.labels(sender).inc()


@receiver(connection_created)
def count_connection(**_: Any) -> None:
    """Count a connection that was made."""
    CONNECTIONS.inc()
