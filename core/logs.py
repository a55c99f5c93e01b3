"""Structured logs: one JSON object a line, with the request's or the task's id on every line."""

import logging
import re
import sys
import traceback
from typing import Any

import structlog

LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")
# The loggers of ours, and the one of tasks.
OURS = ("core", "accounts", "notifications", "jobs", "django_structlog")
HIDDEN = "(hidden)"
# Errors whose messages speak of the program and of machines. Any other may quote what people
# typed, and is shown without its message: its kind and its frames say where to look.
SPEAKS_OF_MACHINES = frozenset(
    {
        *("OperationalError", "InterfaceError", "OSError", "ImportError", "AttributeError"),
        *("NameError", "TypeError", "RuntimeError", "ArithmeticError", "WorkerLostError"),
    }
)
# What even these may quote: text in quotes or brackets, e-mail addresses, telephone numbers. Names
# of constraints and the like, with underscores, stay.
_QUOTED = re.compile(r"""(['"`])(.*?)\1""")
_OF_THE_PROGRAM = re.compile(r"[a-z0-9]+(_[a-z0-9]+)+")
_A_NAME = re.compile(r"\w+(\.\w+)*")
_BRACKETED = re.compile(r"\([^()]+\)")
_EMAIL = re.compile(r"[^\s<>,;:=]+@[^\s<>,;:=]+")
_TELEPHONE = re.compile(r"\+?\d[\d ]{6,}\d")
LONGEST_MESSAGE = 300


def message_of(error: BaseException) -> str:
    """Return the first line of an error's message without what it may quote of people's data."""
    if not any(kind.__name__ in SPEAKS_OF_MACHINES for kind in type(error).__mro__):
        return HIDDEN
    shown = str(error).partition("\n")[0][:LONGEST_MESSAGE]
    # These quote the names of the program itself, whatever they look like.
    names = isinstance(error, (AttributeError, NameError, ImportError))
    kept = _A_NAME if names else _OF_THE_PROGRAM
    shown = _QUOTED.sub(lambda found: found[0] if kept.fullmatch(found[2]) else HIDDEN, shown)
    for pattern in (_BRACKETED, _EMAIL, _TELEPHONE):
        shown = pattern.sub(HIDDEN, shown)
    return shown


def stack_of(error: BaseException, *, deep: int = 8) -> str:
    """Return an error as a traceback, those it came of first, with what they quote left out."""
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    before = ""
    if cause is not None and deep:
        before = f"{stack_of(cause, deep=deep - 1)}\n\nwhich led to:\n\n"
    frames = "".join(traceback.format_tb(error.__traceback__))
    name = f"{type(error).__module__}.{type(error).__qualname__}"
    return f"{before}{frames}{name}: {message_of(error)}"


def describe_error(
    _logger: Any, _method: str, line: structlog.typing.EventDict
) -> structlog.typing.EventDict:
    """Put the error that a line is about into words that quote nobody."""
    raised = line.pop("exc_info", None)
    if raised is True:
        raised = sys.exception()
    if isinstance(raised, tuple):
        raised = raised[1]
    if line.get("event") == "task_failed":
        line.pop("error", None)  # the message as it is; the library's line has both
        line.pop("exception", None)
    if isinstance(raised, BaseException):
        line["exception"] = stack_of(raised)
    return line


_SHARED: list[structlog.typing.Processor] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
]


class NoExpiredWakeUps(logging.Filter):
    """Drops the warning that a task was revoked because it expired: a late wake-up is worthless."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether the line is to be written."""
        said: Any = record.msg
        late = isinstance(said, dict) and said.get("event") == "task_revoked"
        return not (late and said.get("expired"))


def logging_settings(*, log_format: str, level: str) -> dict[str, Any]:
    """Set structlog up and return the dictionary for Django's LOGGING.

    log_format is "json" for machines or "plain" for a person at a terminal.
    """
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *_SHARED,
            structlog.processors.StackInfoRenderer(),
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=True,
    )
    renderer: structlog.typing.Processor = structlog.processors.JSONRenderer()
    if log_format == "plain":
        renderer = structlog.dev.ConsoleRenderer(colors=False)
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "structured": {
                "()": structlog.stdlib.ProcessorFormatter,
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    describe_error,
                    renderer,
                ],
                "foreign_pre_chain": _SHARED,
            }
        },
        "filters": {
            "no_expired_wake_ups": {"()": "core.logs.NoExpiredWakeUps"},
            "full_disk_once_a_minute": {"()": "core.full_disk.FullDiskOnceAMinute"},
        },
        "handlers": {
            "stderr": {
                "class": "logging.StreamHandler",
                "formatter": "structured",
                "filters": ["full_disk_once_a_minute"],
            }
        },
        # Libraries are heard when something is wrong: what they say beside may quote anybody.
        "root": {"handlers": ["stderr"], "level": max(level, "WARNING", key=LEVELS.index)},
        "loggers": _loggers(level),
    }


def _loggers(level: str) -> dict[str, Any]:
    """Return what differs for single loggers from the root's level."""
    silent = {"level": "CRITICAL"}
    return {
        **{name: {"level": level} for name in OURS},
        # A request's own line has it all, without the address as it was sent.
        "django.request": silent,
        "django.security": silent,
        "django_structlog.celery.receivers": {"filters": ["no_expired_wake_ups"]},
        # Celery's own lines repeat what django_structlog says with the task's id.
        "celery.app.trace": silent,
        "celery.worker.request": silent,
        # It tries again by itself; what it gives up is an error.
        "opentelemetry": {"level": "ERROR"},
        # Of the library under Celery that forks; it is not passed on to the root.
        "multiprocessing": {"handlers": ["stderr"], "propagate": False},
    }
