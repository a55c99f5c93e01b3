"""The programs the service consists of, and how each is started."""

import os
import sys
from pathlib import Path

from django.conf import settings

from core.numbers_folder import VARIABLE
from core.queues import NOTICES, WORK
from core.serving.processes import Program

# What `--only` names, and the parts that run then.
CHOICES = {
    "web": ("web",),
    "worker": ("notices", "work"),
    "notices": ("notices",),
    "work": ("work",),
    "beat": ("beat",),
}
NAMES = ("web", "notices", "work", "beat")
# Which queue each worker takes from. These and beat run in one program where they run together.
WORKERS = {"notices": NOTICES, "work": WORK}
# How long a program waits for the database: for a lock, for an answer, and how long the database
# waits for it in the middle of a transaction. A web thread is needed by the next request; a worker
# has the time that a task may run (`task_time_limit`). PostgreSQL reads these at connecting.
WEB_WAITS = {"lock_timeout": 5, "statement_timeout": 30}
WORKER_WAITS = {"lock_timeout": 20, "statement_timeout": 240}
IDLE_IN_TRANSACTION_SECONDS = 60
CONNECTIONS = 4096  # to each web process; of those that wait none has a thread
ANSWERING_SECONDS = 8  # what requests being answered have to end, when the service stops
GRANIAN_LOGS = Path(__file__).with_name("granian_logs.json")


def chosen_programs(
    names: tuple[str, ...], *, host: str, port: int, address: str, metrics_folder: str
) -> tuple[Program, ...]:
    """Return the programs for the parts of these names; the web part listens on host and port.

    Workers and beat share one, which loads the service once and forks them. address is the URL
    people use, told to the service where SHUTLINE_PUBLIC_URL is not set; metrics_folder is an
    empty folder, to be used by these parts alone.
    """
    shared = environment_changes(address, metrics_folder)
    background = tuple(name for name in names if name != "web")
    found = []
    if "web" in names:
        changes = {**shared, "PGOPTIONS": database_options("web")}
        found.append(Program("web", web_command(host, port), changes))
    if background:
        changes = {**shared, "PGOPTIONS": database_options(background[0])}
        name = background[0] if len(background) == 1 else "workers"
        found.append(Program(name, workers_command(*background), changes))
    if "web" not in names and settings.METRICS_LISTEN:
        found.append(Program("numbers", python("-m", "core.serving.numbers"), shared))
    return tuple(found)


def database_options(name: str) -> str:
    """Return what libpq tells PostgreSQL for a part; what the operator set there comes last."""
    waits = WORKER_WAITS if name in WORKERS else WEB_WAITS
    seconds = {**waits, "idle_in_transaction_session_timeout": IDLE_IN_TRANSACTION_SECONDS}
    options = [f"-c {setting}={1000 * wait}" for setting, wait in seconds.items()]
    return " ".join([*options, *filter(None, [os.environ.get("PGOPTIONS")])])


def python(*arguments: str) -> tuple[str, ...]:
    """Return a command line for the interpreter of this virtual environment.

    -P keeps the folder the operator happens to stand in from shadowing our modules.
    """
    return (sys.executable, "-P", *arguments)


def web_command(host: str, port: int) -> tuple[str, ...]:
    """Return granian's command line."""
    return python(
        # No HTTP/2: its connections have no deadline for headers, and no proxy speaks it inwards.
        *("-m", "granian", "--interface", "rsgi", "--no-ws", "--http", "1"),
        *("--host", host, "--port", str(port)),
        *("--workers", str(settings.WEB_PROCESSES)),
        *("--http1-header-read-timeout", str(1000 * settings.REQUEST_SECONDS)),
        *("--backlog", str(CONNECTIONS), "--backpressure", str(CONNECTIONS)),
        *("--respawn-failed-workers", "--respawn-interval", "0.5"),
        # A burst of answers can fill the pipe by which a process's loop hears of a signal.
        *("--workers-kill-timeout", str(ANSWERING_SECONDS)),
        *("--log-level", "error", "--log-config", str(GRANIAN_LOGS)),
        "core.serving.web:application",
    )


def workers_command(*names: str) -> tuple[str, ...]:
    """Return the command line of the program that runs these parts: workers, beat, or both."""
    return python("-m", "core.serving.workers", *names)


def environment_changes(address: str, metrics_folder: str) -> dict[str, str]:
    """Return what differs for every part from this process's own environment."""
    root = str(settings.BASE_DIR)
    path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    usual = {
        "DJANGO_SETTINGS_MODULE": "core.settings",
        "SHUTLINE_PUBLIC_URL": address,
        # `serve` has checked before it starts anything; a check loads every page and every call.
        "CELERY_SKIP_CHECKS": "1",
        # Threads of Python take turns, so two of glibc's heaps do for all of them; more only grow.
        "MALLOC_ARENA_MAX": "2",
    }
    changed = {"PYTHONPATH": path}
    if settings.METRICS_LISTEN or settings.METRICS_TOKEN:  # else nobody can read the numbers
        changed[VARIABLE] = metrics_folder
    return {**{name: value for name, value in usual.items() if name not in os.environ}, **changed}
