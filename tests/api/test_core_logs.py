"""What the logs leave out, and that they leave out nothing else."""

import logging
from typing import Any

import pytest

from core.logs import NoExpiredWakeUps, hide_tokens


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


def test_the_token_of_a_link_is_not_written_down() -> None:
    token = "AZEbLDxNeo-Ka3yNngECNAAB." + "x" * 43
    shown = hide_tokens(None, "info", {"request": f"GET /decide/{token}/photos/1/320"})
    assert shown == {"request": "GET /decide/(token)/photos/1/320"}
    plain = {"request": "GET /api/v1/jobs/01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b?cursor=" + "x" * 60}
    assert hide_tokens(None, "info", dict(plain)) == plain
