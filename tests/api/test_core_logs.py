"""What the logs leave out, and that they leave out nothing else."""

import logging
from typing import Any

import pytest

from core.logs import NoExpiredWakeUps


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
