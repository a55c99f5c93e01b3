"""What cures or dries at a workshop now, for the desk, and what of it wants somebody's eye.

A fixed number of queries however many cars there are.
"""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Min, Q, QuerySet

from accounts.caller import Caller
from core.problems import NotFound
from jobs.desk.selectors.cars import cars_here
from jobs.work.models import Job, WaitClock
from jobs.work.models.air import Place
from jobs.work.selectors.air import latest_reading
from jobs.work.selectors.curing.clocks import Running, running_at

MOST_HERE = 10_000  # cars at one workshop; nobody has room for so many
MOST_CLOCKS = 60  # on one page; beyond that it says that it shows no more


@dataclass(frozen=True, slots=True)
class Watched:
    """What of the clocks wants somebody's eye: touch tests that are due, air nobody measured.

    `measured_at`: the last usable reading in the workshop, where anything runs at all.
    `changes_at`: when time alone has something of it end.
    """

    running: int
    to_test: int
    measured_at: datetime | None
    changes_at: datetime | None


def workshop_clocks(caller: Caller, at: datetime) -> tuple[list[WaitClock], bool]:
    """Return what runs on the cars here, and whether there is more than is shown: one query.

    What stands still comes first, so that it is never what is left out.
    """
    found = list(_running(caller, at)[: MOST_CLOCKS + 1])
    return found[:MOST_CLOCKS], len(found) > MOST_CLOCKS


def _running(caller: Caller, at: datetime) -> QuerySet[WaitClock]:
    # Cut off, if far off: joined freely, PostgreSQL begins with the clocks of all workshops.
    here = cars_here(caller).values("pk")[:MOST_HERE]
    # Settled ones too: a cancelled order's are, while its car still stands here and cures.
    clocks = WaitClock.objects.filter(running_at(at), job__in=here)
    return clocks.select_related("task", "use", "job__dealer").order_by("-halted", "ends_at", "pk")


def running_here(caller: Caller, at: datetime) -> Running:
    """Return what runs on the cars here together: one query."""
    due = Q(touch_test=True, ends_at__lte=at)
    counts = _running(caller, at).aggregate(
        running=Count("pk"),
        to_test=Count("pk", filter=due),
        ends_at=Min("ends_at", filter=Q(ends_at__gt=at)),
        closed_at=Min("closed_at", filter=Q(closed_at__gt=at)),
    )
    ends = [moment for moment in (counts["ends_at"], counts["closed_at"]) if moment is not None]
    return Running(counts["running"], counts["to_test"], min(ends, default=None))


def watched(caller: Caller, running: Running) -> Watched:
    """Return what of the clocks wants somebody's eye: one query where any runs."""
    last = latest_reading(caller.organisation_id, Place.WORKSHOP.value) if running.count else None
    return Watched(running.count, running.to_test, last.at if last else None, running.changes_at)


def clock_on(job: Job, clock_id: UUID) -> WaitClock:
    """Return a clock of the job, with its task. Raises NotFound."""
    clocks = WaitClock.objects.filter(job=job, pk=clock_id)
    clock = clocks.select_related("task", "use").first()
    if clock is None:
        raise NotFound("Nothing on this car cures or dries so.")
    return clock
