"""What the logs leave out, and that they leave out nothing else."""

import logging
import smtplib
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory

from core.logs import (
    NoExpiredWakeUps,
    describe_error,
    logging_settings,
    message_of,
    stack_of,
)
from core.request_lines import RequestLineMiddleware, id_of

SAID = 'relation "endpoint_direct_once" of "Odile Farrant" (TU21 ABC) odile@x.example 01632 960147'


def line(message: Any) -> logging.LogRecord:
    return logging.LogRecord("tasks", logging.WARNING, __file__, 1, message, None, None)


@pytest.mark.parametrize(
    ("message", "written"),
    [
        ({"event": "task_revoked", "expired": True}, False),
        ({"event": "task_revoked", "expired": False, "terminated": True}, True),
        ({"event": "task_failed"}, True),
        ("a plain line", True),
    ],
)
def test_only_an_expired_wake_up_is_passed_over(message: Any, written: bool) -> None:  # noqa: FBT001
    assert NoExpiredWakeUps().filter(line(message)) is written


@pytest.mark.parametrize(
    ("error", "shown"),
    [
        (OperationalError("the server refused\nLINE 1: 'Odile'"), "the server refused"),
        (
            OperationalError(SAID),
            'relation "endpoint_direct_once" of (hidden) (hidden) (hidden) (hidden)',
        ),
        (ConnectionRefusedError("refused by 127.0.0.1:5432"), "refused by 127.0.0.1:5432"),
        (TypeError("fail() got 'word'"), "fail() got (hidden)"),
        (IntegrityError("Key (email)=(odile@x.example) already exists."), "(hidden)"),
        (AttributeError("'Job' has no attribute 'x'"), "'Job' has no attribute 'x'"),
        (ValueError("Odile Farrant"), "(hidden)"),
        (KeyError("TU21 ABC"), "(hidden)"),
    ],
)
def test_an_error_is_shown_without_what_it_may_quote(error: Exception, shown: str) -> None:
    assert message_of(error) == shown


def test_a_mail_server_that_names_the_recipient_is_not_quoted() -> None:
    error = smtplib.SMTPRecipientsRefused({"odile@x.example": (550, b"no such odile here")})
    assert "odile" not in stack_of(error)


def fail_because_of_odile() -> None:
    people: dict[str, str] = {}
    try:
        people["Odile"]
    except KeyError as error:
        raise RuntimeError("could not go on") from error


def test_what_an_error_came_of_is_shown_first() -> None:
    with pytest.raises(RuntimeError) as raised:
        fail_because_of_odile()
    shown = describe_error(None, "error", {"event": "x", "exc_info": raised.value})["exception"]
    first, second = shown.split("which led to:")
    assert first.strip().endswith("builtins.KeyError: (hidden)")
    assert second.endswith("builtins.RuntimeError: could not go on")
    assert "test_core_logs.py" in first


@pytest.mark.parametrize(
    ("level", "ours", "libraries"),
    [("DEBUG", "DEBUG", "WARNING"), ("INFO", "INFO", "WARNING"), ("ERROR", "ERROR", "ERROR")],
)
def test_the_level_is_that_of_our_lines_and_libraries_never_chat(
    level: str, ours: str, libraries: str
) -> None:
    settings = logging_settings(log_format="json", level=level)
    assert settings["loggers"]["notifications"]["level"] == ours
    assert settings["root"]["level"] == libraries


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("8f2c1d0e-5a4b-4c3d-9e8f-7a6b5c4d3e2f", True),
        ("odile@x.example", False),
        ("Odile Farrant", False),
        ("short", False),
        ("x" * 65, False),
    ],
)
def test_only_an_id_is_taken_for_the_id_of_a_request(given: str, kept: bool) -> None:  # noqa: FBT001
    request = RequestFactory().get("/", headers={"X-Request-ID": given})
    assert (id_of(request) == given) is kept
    assert len(id_of(request)) >= 8


def test_a_line_is_written_of_a_request_that_no_view_is_there_for(
    caplog: pytest.LogCaptureFixture,
) -> None:
    def answer(_request: HttpRequest) -> HttpResponse:
        return HttpResponse(status=503)

    with caplog.at_level("INFO", "core.request_lines"):
        RequestLineMiddleware(answer)(RequestFactory().get("/odile@x.example"))
    (record,) = caplog.records
    assert record.levelname == "WARNING"
    assert "'route': 'none'" in str(record.msg)
    assert "odile" not in str(record.msg)
