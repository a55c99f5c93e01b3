"""Wake-ups: what can be done at once does not wait for the next sweep, which finds it anyway."""

from functools import partial

from notifications.services.wake import Waker, send_wake_up

_clocks = Waker(partial(send_wake_up, "jobs.tasks.work_out_clocks"))
_orders = Waker(partial(send_wake_up, "jobs.tasks.take_orders"))


def wake_clocks() -> None:
    """Ask a worker to work out the clocks of workshops with new readings; returns at once."""
    _clocks.wake()


def wake_orders() -> None:
    """Ask a worker to take in the lists of orders that wait; returns at once."""
    _orders.wake()
