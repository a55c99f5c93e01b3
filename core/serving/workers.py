"""The program of workers and beat: it loads the service once, and forks where there are several.

What is loaded before a fork is shared by the system until somebody writes to it, so that in the
embedded form two workers with their processes and beat take little more memory than one of them.
"""

import gc
import logging
import socket
import sys
import warnings
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from importlib import import_module
from pathlib import Path

from django.conf import settings
from django.template import engines

from core.celery import app
from core.serving.parts import WORKERS
from core.serving.processes import Fork
from core.serving.supervisor import Supervisor
from core.stopping import begin_worker

# Workers and beat end before whoever started this program has had enough of waiting for it.
SOONER_SECONDS = 1
# What Celery and Django load only when they start or first work.
LOADED_BEFORE = (
    "celery.apps.beat",
    "celery.apps.worker",
    "celery.concurrency.prefork",
    "celery.worker.autoscale",
    "celery.worker.components",
    "celery.worker.consumer",
    "celery.worker.consumer.delayed_delivery",
    "celery.events.dispatcher",
    "billiard.heap",
    "billiard.popen_fork",
    "billiard.synchronize",
    "django.core.mail.backends.smtp",
    "django.db.models.sql.compiler",
)


def load() -> None:
    """Load what every worker needs, and Celery itself; opens no connection and starts no thread.

    What would be loaded with the first task is loaded here as well: once, not in each process.
    """
    app.loader.import_default_modules()
    app.finalize()
    for name in LOADED_BEFORE:
        import_module(name)
    engines.all()
    _ = app.amqp, app.log, app.control, app.events  # made when they are first looked at
    app.connection_for_write().get_transport_cls()
    from core.serving.notes import NotingConsumer  # noqa: PLC0415  it needs Django set up

    app.steps["consumer"].add(NotingConsumer)


def call_process(name: str) -> None:
    """Give this process a name that `ps` and `top` show, where the system has such names."""
    with suppress(OSError):
        Path("/proc/self/comm").write_text(name, encoding="ascii")


def run_worker(name: str) -> int:
    """Run the Celery worker of one queue until it is told to stop; return the exit code."""
    begin_worker()
    worker = app.Worker(
        hostname=f"{name}@{socket.gethostname()}",
        queues=[WORKERS[name]],
        pool_cls="prefork",
        concurrency=settings.WORKER_PROCESSES[name],
        loglevel=logging.WARNING,
        quiet=True,
        without_gossip=True,
        without_mingle=True,
        without_heartbeat=True,
    )
    worker.start()
    return int(worker.exitcode or 0)


def run_beat() -> int:
    """Run beat until it is told to stop; it keeps neither a schedule file nor a pid file."""
    app.Beat(loglevel="WARNING", quiet=True).run()
    return 0


def run(name: str) -> int:
    """Run one part; return the exit code."""
    call_process(name)
    gc.enable()
    return run_beat() if name == "beat" else run_worker(name)


def run_all(names: Sequence[str]) -> int:
    """Run each part in a process of its own, forked from this one; return the exit code."""
    call_process("workers")
    return Supervisor(
        [Fork(name, partial(run, name)) for name in names],
        is_up=lambda: True,
        tell_ready=lambda: None,
        stop_seconds=settings.STOP_SECONDS - SOONER_SECONDS,
    ).run()


def main() -> int:
    """Run the parts that the command line names; return the exit code."""
    # Said once by `serve` itself instead, in a line a log collector can read.
    warnings.filterwarnings("ignore", "You're running the worker with superuser privileges")
    names = sys.argv[1:]
    # What is loaded stays, and no collection writes into the pages that are shared after a fork, or
    # leaves holes in them that are filled in each copy.
    gc.disable()
    load()
    gc.freeze()
    return run(names[0]) if len(names) == 1 else run_all(names)


if __name__ == "__main__":
    sys.exit(main())
