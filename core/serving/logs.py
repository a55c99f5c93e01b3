"""The project's log format for programs that Django does not set up."""

import logging
import sys

import structlog

from core.env import Environment
from core.logs import logging_settings


def structured_formatter() -> logging.Formatter:
    """Return the formatter of every other log line, as `granian_logs.json` asks for it."""
    log_format = Environment().text("SHUTLINE_LOG_FORMAT", "json")
    settings = logging_settings(log_format=log_format, level="WARNING")
    options = dict(settings["formatters"]["structured"])
    make = options.pop("()")
    formatter: logging.Formatter = make(**options)
    return formatter


def logger(name: str) -> structlog.stdlib.BoundLogger:
    """Return a logger; where nobody has set logging up yet, it writes warnings to stderr."""
    if not logging.getLogger().handlers:
        handler = logging.StreamHandler(sys.stderr)
        handler.setFormatter(structured_formatter())
        logging.getLogger().addHandler(handler)
    found: structlog.stdlib.BoundLogger = structlog.get_logger(name)
    return found
