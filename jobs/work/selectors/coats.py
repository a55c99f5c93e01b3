"""Coats with their timers, and what became of the things a dealer supplied."""

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Prefetch

from accounts.caller import Caller
from jobs.work.calc.curing.cure import Reading
from jobs.work.models import Coat, Job, SuppliedTick, Task
from jobs.work.selectors.curing.clocks import readings_of
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job

AWAITED = "awaited"


@dataclass(frozen=True, slots=True)
class SuppliedItem:
    """One thing of the order, or ticked and taken off the order since; `tick` where there is."""

    item: str
    on_order: bool
    tick: SuppliedTick | None

    @property
    def state(self) -> str:
        """Return what became of it."""
        return self.tick.state if self.tick else AWAITED


def coats_of(caller: Caller, job_id: UUID) -> tuple[list[Task], list[Reading]]:
    """Return the job's tasks that have coats, with these, both in order, and the air since then.

    Raises NotFound.
    """
    job = jobs_of(caller).filter(pk=job_id).only("pk", "workshop_id").first()
    if job is None:
        raise no_such_job()
    coats = Prefetch("coats", Coat.objects.select_related("clock").order_by("number"))
    tasks = Task.objects.filter(job_id=job_id, coats__isnull=False).distinct().order_by("pk")
    found = list(tasks.prefetch_related(coats))
    # Of each task the last coat decides when it can be handled, by the air of the time after it.
    clocks = [list(task.coats.all())[-1].clock for task in found]
    return found, readings_of(job.workshop_id, clocks)


def supplied_of(caller: Caller, job_id: UUID) -> list[SuppliedItem]:
    """Return everything the dealer supplies for the job, the order's first. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return supplied_items(job)


def supplied_items(job: Job) -> list[SuppliedItem]:
    """Return the order's items in its order, then those ticked and taken off it since."""
    ticks = {tick.item: tick for tick in job.supplied_ticks.order_by("pk")}
    ordered = list(dict.fromkeys(job.supplied))
    return [
        *(SuppliedItem(item, on_order=True, tick=ticks.get(item)) for item in ordered),
        *(
            SuppliedItem(item, on_order=False, tick=tick)
            for item, tick in ticks.items()
            if item not in ordered
        ),
    ]
