"""Coats go on when the last has flashed off; what the dealer supplied is ticked off."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.timezone import localtime

from accounts.caller import Caller
from core.clock import now
from core.problems import InvalidRequest, NotFound
from jobs.work import events
from jobs.work.calc.coats import (
    PAINTED,
    CoatKind,
    Timer,
    default_flash_off_minutes,
    is_flashing_off,
    next_coat_from,
)
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_closed, refuse_noting
from jobs.work.models import Coat, Job, SuppliedTick, Task, WaitClock
from jobs.work.problems import Refused, refused
from jobs.work.selectors.coats import SuppliedItem, supplied_items
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.curing.clocks import NewClock, clock_start
from jobs.work.services.jobs.recording import advance, check, event_tell, store

MOST_COATS = 50  # far more than a small part ever takes


@transaction.atomic
def coat_apply(
    *,
    caller: Caller,
    job_id: UUID,
    task_id: UUID,
    kind: CoatKind,
    occurred_at: datetime,
    flash_off_minutes: int | None = None,
    reason: str = "",
) -> Coat:
    """Record that a coat went on, and start its timer; without minutes the usual ones are taken.

    Timers are looked at as of `occurred_at`, when the coat really went on. Raises Refused where
    the last coat was still flashing off and no reason is given, or the task takes no coats now.
    """
    job = job_for_change(caller, job_id)
    task = job.tasks.filter(pk=task_id).first()
    if task is None:
        raise NotFound("This job has no such task.")
    # A cancelled order leaves a part half painted; what is then done to it is told all the same.
    check(job, refuse_noting(job.state))
    check(job, _refuse_coat(task, occurred_at))
    coats = list(task.coats.select_related("clock").order_by("number"))
    check(job, _refuse_more(coats))
    timers = [coat.timer for coat in coats]
    early = is_flashing_off(timers, at=occurred_at)
    if early and not reason:
        raise _flashing_off(job, timers)
    _check_order(task, coats, occurred_at)
    minutes = flash_off_minutes or default_flash_off_minutes(task.operation, kind)
    coat = Coat.objects.create(
        task=task,
        clock=_start_timer(job, task, occurred_at, minutes),
        number=len(coats) + 1,
        kind=kind.value,
        flash_off_minutes=minutes,
        early=early,
        reason=reason,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
    )
    _write_down_coat(job, coat, caller)
    return coat


def _start_timer(job: Job, task: Task, at: datetime, minutes: int) -> WaitClock:
    """Start the timer of a coat: its minutes are those at 15 °C, and cold makes them longer."""
    return clock_start(job, task, NewClock(WaitClock.Kind.FLASH_OFF, minutes), started_at=at)


def _refuse_coat(task: Task, occurred_at: datetime) -> Refusal | None:
    """Return why the task takes no coat; one put on before its end may be told late."""
    if task.operation not in PAINTED:
        return Refusal(
            "not_painted",
            f"{task.name}: no paint goes on in this operation.",
            "Add the operation that refinishes the part; GET /api/v1/refinishing-steps lists them.",
        )
    told_late = task.finished_at is not None and occurred_at <= task.finished_at
    if task.state != Task.State.STARTED and not told_late:
        return Refusal("not_started", "This task is not being worked on.", "Start it first.")
    return None


def _refuse_more(coats: Sequence[Coat]) -> Refusal | None:
    if len(coats) < MOST_COATS:
        return None
    return Refusal(
        "too_many",
        f"This task has {MOST_COATS} coats, which is the most.",
        "Add the operation again for what is left.",
    )


def _check_order(task: Task, coats: list[Coat], occurred_at: datetime) -> None:
    """Raise InvalidRequest for a coat older than the work, or than the coat it lies on."""
    earliest = coats[-1].applied_at if coats else task.started_at
    if earliest is not None and occurred_at < earliest:
        what = f"Coat {len(coats)} went on" if coats else "The work began"
        message = f"{what} at {localtime(earliest).isoformat()}; this coat cannot be older."
        raise InvalidRequest(message, errors=[{"field": "occurred_at", "message": message}])


def _flashing_off(job: Job, timers: Sequence[Timer]) -> Refused:
    until = next_coat_from(timers)
    said, step = "it is too cold for anybody to say until when", "Warm the part"
    if until is not None:
        said, step = f"until {localtime(until).isoformat()}", "Wait until then"
    problem = refused(
        job,
        Refusal(
            "flashing_off",
            f"The last coat is still flashing off, {said}.",
            f"{step}, or send the reason for putting this coat on now.",
        ),
    )
    problem.extra["until"] = until
    return problem


def _write_down_coat(job: Job, coat: Coat, caller: Caller) -> None:
    data = {
        "coat_id": str(coat.pk),
        "task_id": str(coat.task_id),
        "operation": coat.task.operation,
        "number": coat.number,
        "kind": coat.kind,
        "flash_off_minutes": coat.flash_off_minutes,
        "early": coat.early,
    }
    entry = advance(
        job,
        kind=Kind.COAT_APPLIED,
        caller=caller,
        occurred_at=coat.applied_at,
        reason=coat.reason,
        data=data,
    )
    store(job, [entry])


@transaction.atomic
def supplied_tick(
    *,
    caller: Caller,
    job_id: UUID,
    item: str,
    state: str,
    occurred_at: datetime,
    note: str = "",
) -> SuppliedItem:
    """Tick what became of something the dealer supplied; ticking again changes it.

    Things may come before the car does, and those of a cancelled order still go somewhere. A tick
    that is told late stands in the history and undoes no newer one. Raises InvalidRequest for an
    unknown item.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_closed(replace(job.state, cancelled=False)))
    known = {supplied.item: supplied for supplied in supplied_items(job)}
    if item not in known:
        listed = ", ".join(known) or "nothing"
        message = f"The order has no such item. It lists: {listed}."
        raise InvalidRequest(message, errors=[{"field": "item", "message": message}])
    standing = known[item].tick
    newest = standing is None or occurred_at >= standing.occurred_at
    data = {"item": item, "state": state, "note": note}
    entry = advance(
        job, kind=Kind.SUPPLIED_TICKED, caller=caller, occurred_at=occurred_at, data=data
    )
    store(job, [entry])
    if newest:
        standing = _keep_tick(job, item, state=state, note=note, caller=caller, at=occurred_at)
        event_tell(events.SUPPLIED_TICKED, job, occurred_at, {"job": events.job_data(job), **data})
    return replace(known[item], tick=standing)


def _keep_tick(
    job: Job, item: str, *, state: str, note: str, caller: Caller, at: datetime
) -> SuppliedTick:
    values = {
        "state": state,
        "note": note,
        "occurred_at": at,
        "recorded_at": now(),
        "actor": caller.name,
        "actor_person_id": caller.person_id,
    }
    return SuppliedTick.objects.update_or_create(job=job, item=item, defaults=values)[0]
