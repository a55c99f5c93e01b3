"""How a periodic task says that it ran, and whose workers that speaks for."""

from celery import current_app

from core.clock import now
from core.models import Sweep
from core.periodic import SCHEDULE
from core.queues import NOTICES, QUEUES, WORK

PARTS = {NOTICES: "notices", WORK: "work"}


def note_sweep(name: str) -> None:
    """Write down that a worker took the sweep: beat, broker and a worker of its queue all live."""
    Sweep.objects.update_or_create(name=name, defaults={"last_run_at": now()})


def sweeps_by_queue() -> dict[str, set[str]]:
    """Return the names of the periodic tasks by the queue that they wait in."""
    found: dict[str, set[str]] = {queue: set() for queue in QUEUES}
    for entry in SCHEDULE.values():
        queue = current_app.amqp.router.route({}, entry["task"])["queue"].name
        found[queue].add(entry["task"].rpartition(".")[2])
    return found


def part_of(queue: str) -> str:
    """Return what the part of the service is called that serves a queue, as `serve` names it."""
    return PARTS[queue]
