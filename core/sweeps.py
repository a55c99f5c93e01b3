"""How a periodic task says that it has done its work, and when that is too long ago."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from celery import current_app
from django.db.models import F
from django.db.models.functions import Coalesce

from core.clock import now
from core.counting import counted_sweep
from core.models import Sweep
from core.periodic import SCHEDULE
from core.queues import NOTICES, WORK

PARTS = {NOTICES: "notices", WORK: "work"}

# All of a worker's processes may be busy for as long as a task may run (task_time_limit); later
# than this beyond its period, nobody sweeps, or what it does fails each time.
GRACE_SECONDS = 300


@contextmanager
def swept(name: str) -> Iterator[None]:
    """Write down that a sweep has done its work, where that ends without an error."""
    with counted_sweep(name):
        yield
        _write_down(name)


def _write_down(name: str) -> None:
    at = now()
    done = Sweep.objects.filter(name=name)
    # The row is there but for the first time.
    if not done.update(last_run_at=at, first_run_at=Coalesce(F("first_run_at"), at)):
        Sweep.objects.update_or_create(
            name=name,
            defaults={"last_run_at": at},
            create_defaults={"last_run_at": at, "first_run_at": at},
        )


def last_done(name: str) -> datetime | None:
    """Return up to when something was done that is not due each time; None: never yet."""
    return Sweep.objects.filter(name=name).values_list("last_run_at", flat=True).first()


def done_up_to(name: str, at: datetime) -> None:
    """Keep up to when something was done that is not due each time."""
    Sweep.objects.update_or_create(name=name, defaults={"last_run_at": at})


@dataclass(frozen=True, slots=True)
class SweepAge:
    """How long ago a sweep has done its work; None: never yet."""

    name: str
    part: str
    period_seconds: float
    age_seconds: float | None
    overdue: bool

    @property
    def says(self) -> str:
        """Return its age in words."""
        age = "never" if self.age_seconds is None else f"{self.age_seconds:.0f} s ago"
        limit = self.period_seconds + GRACE_SECONDS
        return f"{self.name} of {self.part} did its work {age}; {limit:.0f} s is the limit"


def sweep_ages(at: datetime) -> list[SweepAge]:
    """Return how each sweep stands, in the order of their names: one query.

    One that never ran is overdue when the service has swept for longer than its limit, and at once
    where its workers have not swept anything.
    """
    ran = {row.name: row for row in Sweep.objects.all()}
    begun = min((row.first_run_at for row in ran.values() if row.first_run_at), default=at)
    found = []
    for entry in SCHEDULE.values():
        name, period = entry["task"].rpartition(".")[2], float(entry["schedule"])
        queue = current_app.amqp.router.route({}, entry["task"])["queue"].name
        since = ran[name].last_run_at if name in ran else begun
        age = max((at - since).total_seconds(), 0.0)
        found.append(
            SweepAge(
                name,
                part_of(queue),
                period,
                age if name in ran else None,
                overdue=age > period + GRACE_SECONDS,
            )
        )
    return sorted(found, key=lambda sweep: sweep.name)


def part_of(queue: str) -> str:
    """Return what the part of the service is called that serves a queue, as `serve` names it."""
    return PARTS[queue]
