"""Which queue a task waits in; each app says so of its own as it loads.

Notices have worker processes of their own, so that no long work can keep one waiting. All else
waits in the queue of work.
"""

NOTICES = "notices"
WORK = "shutline"  # the name it had when it was the only one: old messages still wait there
QUEUES = (NOTICES, WORK)

ROUTES: dict[str, dict[str, str]] = {}


def register_queue(tasks: str, queue: str) -> None:
    """Send tasks of this name, or of names that fit it with `*`, to this queue."""
    if queue not in QUEUES:
        raise ValueError(f"There is no queue {queue}; there are {', '.join(QUEUES)}.")
    ROUTES[tasks] = {"queue": queue}
