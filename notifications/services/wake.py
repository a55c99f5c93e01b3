"""The wake-up: tells a worker that something may be due, and never keeps a request waiting.

A thread of its own does the telling, so that a slow or dead broker costs a request nothing;
while it is busy, further wake-ups fold into one. Losing one costs time only: the sweep looks
anyway.
"""

import time
from collections.abc import Callable
from threading import Event, Lock, Thread

import structlog
from celery import current_app
from kombu.exceptions import OperationalError

log = structlog.get_logger(__name__)

WAKE_UP_EXPIRES_SECONDS = 60
# The first of a burst goes out at once; those of the next moments fold into one.
FOLD_SECONDS = 0.02
TASK = "notifications.tasks.deliver_due"


class Waker:
    """Sends wake-ups from its own thread; one thread for each process, started when needed.

    `send` puts one in the queue; without it the engine that delivers is woken.
    """

    def __init__(self, send: Callable[[], bool] | None = None) -> None:
        self._send = send
        self._wanted = Event()
        self._lock = Lock()
        self._thread: Thread | None = None

    def wake(self) -> None:
        """Ask for a wake-up and return at once."""
        self._wanted.set()
        with self._lock:
            # Not alive: never started, left behind by a fork, or ended by something unforeseen.
            if self._thread is None or not self._thread.is_alive():
                self._thread = Thread(target=self._run, name="waker", daemon=True)
                self._thread.start()

    def _run(self) -> None:
        while True:
            self._wanted.wait()
            self._wanted.clear()
            (self._send or send_wake_up)()
            time.sleep(FOLD_SECONDS)


def send_wake_up(task: str = TASK) -> bool:
    """Put one wake-up in the queue; say whether the broker took it."""
    try:
        current_app.send_task(task, expires=WAKE_UP_EXPIRES_SECONDS, retry=False)
    except (OperationalError, OSError) as error:
        log.warning("wake_up_lost", task=task, error=str(error))
        return False
    return True


_waker = Waker()


def wake_deliverer() -> None:
    """Ask a worker to look for due deliveries."""
    _waker.wake()
