"""What of each clock counts as worked, and the clocks of the same people that have a say in it."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from jobs.work.calc.tasks.worktime import Clock, Span, counted, seconds_of, whole_minutes
from jobs.work.models import Hold, Spell, Task

SOMEBODY = "somebody"  # whose time it is where a system started a task without a name

Holds = Mapping[UUID, Sequence[Hold]]


def spans(rows: Iterable[Spell | Hold], at: datetime) -> list[Span]:
    """Return the rows as stretches of time; one that lasts ends at this instant."""
    return [span_of(row.started_at, row.ended_at, at) for row in rows]


def span_of(started_at: datetime, ended_at: datetime | None, at: datetime) -> Span:
    """Return a stretch of time; one that lasts ends at this instant."""
    return Span(started_at, ended_at or max(at, started_at))


def clock_on(job_id: UUID, spell: Spell, at: datetime) -> Clock:
    """Return a spell of work on a job as the sums take it."""
    span = span_of(spell.started_at, spell.ended_at, at)
    return Clock(spell.pk, spell.person_id, job_id, span)


def worked_spans(clocks: Sequence[Clock], holds: Holds, at: datetime) -> dict[UUID, list[Span]]:
    """Return by spell what of each clock counts: a query for what else these people are on.

    `holds` are those of the clocks' own cars; those of the others are one more query.
    """
    beside = _started_later(clocks, at)
    cars = {clock.car for clock in beside} - {clock.car for clock in clocks}
    known = {**holds, **holds_of(cars)} if cars else holds
    return counted(
        {clock.key: clock for clock in (*clocks, *beside)}.values(),
        {car: spans(rows, at) for car, rows in known.items()},
    )


def spells_begun(job_ids: Collection[UUID]) -> dict[UUID, list[Spell]]:
    """Return by task the spells of those under way, with their people: one query."""
    found: dict[UUID, list[Spell]] = defaultdict(list)
    begun = Spell.objects.filter(task__job_id__in=job_ids, task__state=Task.State.STARTED)
    for spell in begun.select_related("person", "task").order_by("started_at", "pk"):
        found[spell.task_id].append(spell)
    return found


def minutes_worked(
    spells: Mapping[UUID, Sequence[Spell]], holds: Holds, at: datetime
) -> dict[UUID, int]:
    """Return by task the minutes worked so far, in spells that last as well.

    `spells` is by task, with their tasks. Where somebody told how long a task had taken and it was
    taken up again, that and what came after it. At most two queries, as in `worked_spans`.
    """
    clocks = [clock_on(spell.task.job_id, spell, at) for some in spells.values() for spell in some]
    worked = worked_spans(clocks, holds, at)
    found = {}
    for task_id, some in spells.items():
        measured = whole_minutes(sum(seconds_of(worked[spell.pk]) for spell in some))
        found[task_id] = max(0, measured + _told_beside(some[0].task))
    return found


def _told_beside(task: Task) -> int:
    """Return how many minutes more a task took than were measured, as somebody told."""
    return 0 if task.told_minutes is None else task.told_minutes - (task.actual_minutes or 0)


def _started_later(clocks: Sequence[Clock], at: datetime) -> list[Clock]:
    """Return the clocks that these people started while one of these was running.

    What began before a clock takes nothing from it, so nobody's past is read.
    """
    keys = [clock.key for clock in clocks if clock.person is not None]
    if not keys:
        return []
    beside = started_later(keys).annotate(job_id=F("task__job")).distinct()
    return [clock_on(row.job_id, row, at) for row in beside]


def started_later(spells: Collection[UUID] | QuerySet[Any, Any]) -> QuerySet[Spell]:
    """Return the spells of the same people that began while one of these was running, doubled."""
    return Spell.objects.filter(
        Q(person__spells__ended_at__isnull=True) | Q(person__spells__ended_at__gt=F("started_at")),
        person__spells__in=spells,
        person__spells__started_at__lte=F("started_at"),
    )


def started_earlier(spells: Collection[UUID]) -> QuerySet[Spell]:
    """Return the ended spells of the same people that were running when one of these began."""
    return Spell.objects.filter(
        person__spells__in=spells,
        person__spells__started_at__gte=F("started_at"),
        person__spells__started_at__lt=F("ended_at"),
    ).exclude(pk__in=spells)


def holds_of(job_ids: Collection[UUID]) -> dict[UUID, list[Hold]]:
    """Return the holds of each job, the earliest first: one query."""
    found: dict[UUID, list[Hold]] = defaultdict(list)
    for hold in Hold.objects.filter(job_id__in=set(job_ids)).order_by("started_at", "pk"):
        found[hold.job_id].append(hold)
    return found


def worked_on_now() -> Exists:
    """Return the condition of a job that somebody is working on, whose time counts for it.

    Whoever started another clock later, on a car that is not held, is there and not here.
    """
    later = Q(started_at__gt=OuterRef("started_at")) | Q(
        started_at=OuterRef("started_at"), pk__gt=OuterRef("pk")
    )
    elsewhere = Spell.objects.filter(
        later, person=OuterRef("person"), ended_at__isnull=True, task__job__open_holds=0
    ).exclude(task__job=OuterRef("task__job"))
    running: QuerySet[Spell, Any] = Spell.objects.filter(
        ~Exists(elsewhere), task__job=OuterRef("pk"), ended_at__isnull=True
    )
    return Exists(running)


def name_of(spell: Spell) -> str:
    """Return whose time it is; a system may start a task without a name."""
    return spell.person.name if spell.person else SOMEBODY
