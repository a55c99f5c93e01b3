"""The project's log format for a program that reads its logging set-up from a file."""

import logging

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
