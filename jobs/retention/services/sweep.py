"""The sweep: batch by batch, going on where it stopped, with a record of what went."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import structlog
from django.db import transaction
from django.utils.timezone import localtime

from core.clock import now
from core.stopping import is_stopping
from core.sweeps import done_up_to, last_done
from jobs.retention.models import Removal
from jobs.retention.services.steps import STEPS, Batch, Step
from jobs.retention.services.traces import traces_forget

log = structlog.get_logger(__name__)

WHOLE = "sweep_retention_whole"
NIGHT = range(1, 5)  # hours by the workshop's clocks
# A service that is off at night goes through everything by day.
BY_DAY_AFTER = timedelta(days=2)
A_NIGHT = timedelta(hours=12)
# Well within what a task may take; the next one goes on.
RUN_SECONDS = 120


@dataclass(frozen=True, slots=True)
class Swept:
    """Whether everything was gone through, what was removed, and which steps failed."""

    whole: bool
    removals: list[Removal]
    failed: list[str]


def is_time(at: datetime) -> bool:
    """Return whether a sweep is to go on now: once a night, and by day where nights left it out."""
    last = last_done(WHOLE)
    if last is None or at - last > BY_DAY_AFTER:
        return True
    if Removal.objects.filter(step__in=STEPS, finished_at=None).exists():
        return localtime(at).hour in NIGHT
    return localtime(at).hour in NIGHT and localtime(last).date() < localtime(at).date()


def sweep(
    *, at: datetime, may_go_on: Callable[[], bool] | None = None, every_step: bool = False
) -> Swept:
    """Remove what is over at an instant until all is gone or `may_go_on` says no.

    A step that fails is logged, stays where it is, and does not keep the others from going on.
    `every_step` begins those as well that this night has done: else a long one would never be
    reached behind them.
    """
    go_on = may_go_on or _until(at + timedelta(seconds=RUN_SECONDS))
    done = set() if every_step else _done_since(at)
    removals, failed = [], []
    for name, step in STEPS.items():
        if name.value in done:
            continue
        try:
            removal = _go_through(name, step, at, go_on)
        except Exception:
            log.exception("retention_step_failed", step=name.value)
            failed.append(name.value)
            continue
        removals.append(removal)
    whole = not failed and all(removal.finished_at for removal in removals)
    if whole:
        done_up_to(WHOLE, max(at, now()))  # behind the end of each of its steps
    if any(removal.rows for removal in removals):
        traces_forget()
    return Swept(whole, removals, failed)


def _done_since(at: datetime) -> set[str]:
    """Return the steps that were gone through since the last whole pass, and within a night."""
    since = max(last_done(WHOLE) or at - A_NIGHT, at - A_NIGHT)
    done = Removal.objects.filter(finished_at__gt=since, finished_at__lte=at, step__in=STEPS)
    return set(done.values_list("step", flat=True))


def _until(moment: datetime) -> Callable[[], bool]:
    return lambda: now() < moment and not is_stopping()


def _go_through(
    name: Removal.Step, step: Step, at: datetime, may_go_on: Callable[[], bool]
) -> Removal:
    """Go on with the open pass of a step, or begin one; return its record as it stands."""
    removal, _ = Removal.objects.get_or_create(
        step=name, finished_at=None, defaults={"started_at": at}
    )
    while removal.finished_at is None and may_go_on():
        removal = _keep(removal, step(at, removal.place))
    if removal.finished_at is not None:
        log.info(
            "retention_step_done",
            step=name.value,
            cars=removal.cars,
            rows=removal.rows,
            files=removal.files,
        )
    return removal


@transaction.atomic
def _keep(removal: Removal, batch: Batch) -> Removal:
    """Add a batch to its record; two sweeps at once add to the same one."""
    kept = Removal.objects.select_for_update(no_key=True).get(pk=removal.pk)
    kept.cars += batch.cars
    kept.rows += batch.rows
    kept.files += batch.files
    oldest = [moment for moment in (kept.oldest, batch.oldest) if moment]
    newest = [moment for moment in (kept.newest, batch.newest) if moment]
    kept.oldest, kept.newest = min(oldest, default=None), max(newest, default=None)
    kept.place = batch.place
    kept.finished_at = kept.finished_at or (None if batch.place else now())
    kept.save()
    return kept
