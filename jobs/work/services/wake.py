"""The wake-up after readings of the air: clocks are worked out at once, not by the next sweep."""

from functools import partial

from notifications.services.wake import Waker, send_wake_up

TASK = "jobs.tasks.work_out_clocks"

_waker = Waker(partial(send_wake_up, TASK))


def wake_clocks() -> None:
    """Ask a worker to work out the clocks of workshops with new readings; returns at once."""
    _waker.wake()
