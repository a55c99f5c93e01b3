"""Structured logs: one JSON object a line, with the request's or the task's id on every line."""

import logging
import re
from typing import Any

import structlog

# A signed token in an address is a permission; nothing else in an address is as long.
_TOKEN = re.compile(r"/[\w.~-]{50,}")


def hide_tokens(
    _logger: Any, _method: str, line: structlog.typing.EventDict
) -> structlog.typing.EventDict:
    """Leave tokens out of the address of a request."""
    if isinstance(address := line.get("request"), str):
        line["request"] = _TOKEN.sub("/(token)", address)
    return line


_SHARED: list[structlog.typing.Processor] = [
    structlog.contextvars.merge_contextvars,
    hide_tokens,
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
                    structlog.processors.format_exc_info,
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
        "root": {"handlers": ["stderr"], "level": level},
        "loggers": _loggers(level),
    }


def _loggers(level: str) -> dict[str, Any]:
    """Return what differs for single loggers from the root's level."""
    return {
        # A refused request is the caller's affair and stands in the request line already.
        "django.request": {"level": "ERROR"},
        "django_structlog": {"level": level},
        "django_structlog.celery.receivers": {"filters": ["no_expired_wake_ups"]},
        "axes": {"level": "WARNING"},
        # Celery's own lines repeat what django_structlog says with the task's id.
        "celery.app.trace": {"level": "WARNING"},
        "celery.worker.strategy": {"level": "WARNING"},
    }
