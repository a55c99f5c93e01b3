"""The programs the service consists of, and how each is started."""

import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from core.numbers_folder import VARIABLE
from core.queues import NOTICES, WORK

# What `--only` names, and the parts that run then.
CHOICES = {
    "web": ("web",),
    "worker": ("notices", "work"),
    "notices": ("notices",),
    "work": ("work",),
    "beat": ("beat",),
}
NAMES = ("web", "notices", "work", "beat")
# Of each queue: one may wait on a slow receiver, or be at long work, while the other goes on.
WORKER_PROCESSES = 2
# How long a program waits for the database: for a lock, for an answer, and how long the database
# waits for it in the middle of a transaction. A web thread is needed by the next request; a worker
# has the time that a task may run (`task_time_limit`). PostgreSQL reads these at connecting.
WEB_WAITS = {"lock_timeout": 5, "statement_timeout": 30}
WORKER_WAITS = {"lock_timeout": 20, "statement_timeout": 240}
IDLE_IN_TRANSACTION_SECONDS = 60
CONNECTIONS = 4096  # to each web process; of those that wait none has a thread
ANSWERING_SECONDS = 8  # what requests being answered have to end, when the service stops
GRANIAN_LOGS = Path(__file__).with_name("granian_logs.json")


@dataclass(frozen=True, slots=True)
class Part:
    """One program: what it is called, its command line, and its environment."""

    name: str
    command: tuple[str, ...]
    environment: Mapping[str, str]


def chosen_parts(
    names: tuple[str, ...], *, host: str, port: int, address: str, metrics_folder: str
) -> list[Part]:
    """Return the parts of these names; the web part listens on host and port.

    address is the URL people use, told to the service where SHUTLINE_PUBLIC_URL is not set;
    metrics_folder is an empty folder, to be used by these parts alone.
    """
    commands = {
        "web": web_command(host, port),
        "notices": worker_command("notices", NOTICES),
        "work": worker_command("work", WORK),
        "beat": beat_command(),
    }
    environment = common_environment(address, metrics_folder)
    return [
        Part(name, commands[name], {**environment, "PGOPTIONS": database_options(name)})
        for name in names
    ]


def database_options(name: str) -> str:
    """Return what libpq tells PostgreSQL for a part; what the operator set there comes last."""
    waits = WORKER_WAITS if name in {"notices", "work"} else WEB_WAITS
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


def worker_command(name: str, queue: str) -> tuple[str, ...]:
    """Return the command line of the Celery worker of one queue."""
    return python(
        # Said once by `serve` itself instead, in a line a log collector can read.
        *("-W", "ignore:You're running the worker with superuser privileges"),
        *("-m", "celery", "-q", "-A", "core", "worker", "--loglevel", "WARNING"),
        *("--hostname", f"{name}@%h", "--queues", queue),
        *("--pool", "prefork", "--concurrency", str(WORKER_PROCESSES)),
        *("--without-gossip", "--without-mingle", "--without-heartbeat"),
    )


def beat_command() -> tuple[str, ...]:
    """Return beat's command line; it keeps neither a schedule file nor a pid file."""
    return python("-m", "celery", "-q", "-A", "core", "beat", "--loglevel", "WARNING", "--pidfile=")


def common_environment(address: str, metrics_folder: str) -> dict[str, str]:
    """Return the environment of every part: this process's own, and what `serve` decided."""
    environment = dict(os.environ)
    root = str(settings.BASE_DIR)
    environment["PYTHONPATH"] = os.pathsep.join(
        [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    )
    environment["DJANGO_SETTINGS_MODULE"] = os.environ.get(
        "DJANGO_SETTINGS_MODULE", "core.settings"
    )
    environment.setdefault("SHUTLINE_PUBLIC_URL", address)
    if settings.METRICS_LISTEN or settings.METRICS_TOKEN:  # else nobody can read the numbers
        environment[VARIABLE] = metrics_folder
    return environment
