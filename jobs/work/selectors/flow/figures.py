"""Where cars wait: the figures of a workshop's finished cars over a period, and of those in work.

A fixed number of queries: the database adds up, the rest is arithmetic (`jobs.work.calc`).
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import reduce
from operator import or_
from typing import Any, TypeVar
from uuid import UUID

from django.db import models
from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Sum

from accounts.caller import Caller, Side
from accounts.models import Organisation
from core.problems import InvalidRequest
from jobs.work.calc.flow.control_chart import TimesChart, times_chart
from jobs.work.calc.flow.course import CAUSES, STAGES, Cause, cause_of
from jobs.work.calc.flow.figures import (
    Edges,
    Little,
    Load,
    Quantiles,
    StageFlow,
    Totals,
    edges_of,
    limiting,
    little,
    load_of,
    quantiles,
    stage_flows,
    total_of_many,
)
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import FlowCar, Hold, Job, WaitClock
from jobs.work.selectors.curing.clocks import running_at
from jobs.work.selectors.flow.times import CLOCK_CAUSES
from jobs.work.selectors.hours import capacity_of, day_span
from jobs.work.selectors.jobs.jobs import jobs_of
from jobs.work.selectors.tasks import worked_on_now

CHARTED = 100  # the latest cars of the period; more points could not be told apart
BEFORE_CHART = 400  # cars before those, which show what is usual; more would be of another time
LEAST_CHARTED_SECONDS = 60
WAITED_FOR = STAGES[1:]
ONE_SECOND = timedelta(seconds=1)
ONE_DAY = timedelta(days=1)
Row = TypeVar("Row", FlowCar, Job)


@dataclass(frozen=True, slots=True)
class FlowAsked:
    """Which cars: those that became ready from one day to another, both included."""

    since: date
    until: date
    dealer_id: UUID | None = None
    purpose: str = ""

    def span(self, at: datetime) -> tuple[datetime, datetime]:
        """Return the period as instants; it does not go on beyond now, and is never empty."""
        start = day_span(self.since).start
        return start, max(min(day_span(self.until).end, at), start + ONE_SECOND)


@dataclass(frozen=True, slots=True)
class Group:
    """The finished cars of one dealer and purpose."""

    dealer_id: UUID
    dealer: str
    purpose: str
    totals: Totals
    leads: Sequence[int]
    with_due: int
    on_time: int
    reworked: int


@dataclass(frozen=True, slots=True)
class Lead:
    """How long some cars took; None where it is of all dealers, or of all purposes."""

    times: Quantiles
    dealer_id: UUID | None = None
    dealer: str = ""
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class ChartedCar:
    """One point of the chart."""

    job_id: UUID
    name: str
    dealer_ref: str
    ready_at: datetime
    lead_seconds: int


@dataclass(frozen=True, slots=True)
class FlowFigures:
    """All that there is to show of a period."""

    asked: FlowAsked
    start: datetime
    end: datetime
    groups: Sequence[Group]
    totals: Totals
    stages: Sequence[StageFlow]
    limit: StageFlow | None
    load: Load | None
    edges: Edges
    law: Little
    points: Sequence[ChartedCar]
    chart: TimesChart | None
    cars_before: int
    now: dict[tuple[Stage, Cause], int]

    @property
    def arrived(self) -> int:
        """Return how many cars came in the period, of those that became ready or are in work."""
        return self.totals.cars + self.edges.inside_at_end - self.edges.inside_at_start

    @property
    def with_due(self) -> int:
        """Return how many finished cars had a time to be ready by."""
        return sum(group.with_due for group in self.groups)

    @property
    def on_time(self) -> int:
        """Return how many of those were ready by it."""
        return sum(group.on_time for group in self.groups)

    @property
    def reworked(self) -> int:
        """Return how many finished cars went back at least once."""
        return sum(group.reworked for group in self.groups)

    def leads(self, *, by_dealer: bool = False, by_purpose: bool = False) -> list[Lead]:
        """Return how long the cars took: all together, or by dealer, purpose or both."""
        together: dict[tuple[Any, ...], list[int]] = {}
        for group in self.groups:
            dealer = (group.dealer, group.dealer_id) if by_dealer else ("", None)
            key = (*dealer, group.purpose if by_purpose else "")
            together.setdefault(key, []).extend(group.leads)
        return [
            Lead(times, dealer_id, dealer, purpose)
            for (dealer, dealer_id, purpose), leads in sorted(
                together.items(), key=lambda item: (item[0][0].casefold(), str(item[0][1:]))
            )
            if (times := quantiles(leads)) is not None
        ]


class _AsList(models.Aggregate):
    """Every value of a whole number's column, with commas: one row to read instead of thousands."""

    output_field = models.TextField()
    name = "AsList"
    template = "STRING_AGG(%(expressions)s::text, ',')"

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """Call it as SQLite does."""
        template = "GROUP_CONCAT(%(expressions)s)"
        return self.as_sql(compiler, connection, template=template, **context)


def flow_cars(caller: Caller, asked: FlowAsked, at: datetime) -> QuerySet[FlowCar]:
    """Return the cars that became ready in the period."""
    start, end = asked.span(at)
    return _narrowed(_cars_of(caller), asked).filter(ready_at__gte=start, ready_at__lt=end)


def flow_of(
    caller: Caller, asked: FlowAsked, at: datetime, *, dealers: Sequence[Organisation]
) -> FlowFigures:
    """Return the figures of a period: five queries. Raises InvalidRequest for a strange dealer.

    `dealers`: those of the workshop.
    """
    check_dealer(asked, dealers)
    start, end = asked.span(at)
    cars = flow_cars(caller, asked, at)
    names = {dealer.pk: dealer.name for dealer in dealers}
    groups = [_group(row, names) for row in _added_up(cars)]
    totals = total_of_many(group.totals for group in groups)
    in_work = list(_in_work(caller, asked, at))
    edges = edges_of(_stays(caller, asked, start, end, in_work), start=start, end=end)
    period_seconds = (end - start).total_seconds()
    stages = stage_flows(totals, period_seconds=period_seconds)
    points, before = _charted(_narrowed(_cars_of(caller), asked), start, end)
    law = little(
        period_seconds=period_seconds,
        finished=totals.cars,
        lead_seconds=totals.lead_seconds,
        edges=edges,
    )
    return FlowFigures(
        asked=asked,
        start=start,
        end=end,
        groups=groups,
        totals=totals,
        stages=stages,
        limit=limiting(stages),
        load=_load(caller, asked, totals),
        edges=edges,
        law=law,
        points=points,
        chart=times_chart(
            [point.lead_seconds for point in points], least=LEAST_CHARTED_SECONDS, before=before
        ),
        cars_before=len(before),
        now=_now(in_work),
    )


def check_dealer(asked: FlowAsked, dealers: Sequence[Organisation]) -> None:
    """Raise InvalidRequest for a dealer that is none of these."""
    if asked.dealer_id is None or any(dealer.pk == asked.dealer_id for dealer in dealers):
        return
    message = "None of your dealers has this id."
    raise InvalidRequest(
        f"dealer: {message}",
        next_step="Leave it out for all dealers, or send the id of one of yours.",
        errors=[{"field": "dealer", "message": message}],
    )


def _cars_of(caller: Caller) -> QuerySet[FlowCar]:
    """Return what is kept of the caller's own cars, as `jobs_of` says whose they are."""
    if caller.side is Side.DEALER:
        return FlowCar.objects.filter(dealer_id=caller.organisation_id)
    return FlowCar.objects.filter(workshop_id=caller.organisation_id)


def _narrowed(cars: QuerySet[Row], asked: FlowAsked) -> QuerySet[Row]:
    if asked.dealer_id is not None:
        cars = cars.filter(dealer_id=asked.dealer_id)
    return cars.filter(purpose=asked.purpose) if asked.purpose else cars


def _added_up(cars: QuerySet[FlowCar]) -> Iterable[Any]:
    """Add up the cars of each dealer and purpose: one query, a few rows."""
    names = [f"{stage}_{cause}" for stage in STAGES for cause in CAUSES]
    names += [f"for_{stage}" for stage in WAITED_FOR]
    visits = {
        f"visits_{stage}": Count(
            "pk", filter=reduce(or_, (Q(**{f"{stage}_{cause}__gt": 0}) for cause in CAUSES))
        )
        for stage in STAGES
    }
    return (
        cars.order_by()
        .values("dealer_id", "purpose")
        .annotate(
            cars=Count("pk"),
            lead=Sum("lead_seconds"),
            person=Sum("person_seconds"),
            with_due=Count("on_time"),
            in_time=Count("pk", filter=Q(on_time=True)),
            reworked=Count("pk", filter=Q(rework_count__gt=0)),
            leads=_AsList("lead_seconds"),
            **{f"sum_{name}": Sum(name) for name in names},
            **visits,
        )
    )


def _group(row: dict[str, Any], names: Mapping[UUID, str]) -> Group:
    return Group(
        dealer_id=row["dealer_id"],
        dealer=names.get(row["dealer_id"], ""),
        purpose=row["purpose"],
        totals=Totals(
            cars=row["cars"],
            lead_seconds=row["lead"],
            person_seconds=row["person"],
            parts={
                (stage, cause): row[f"sum_{stage}_{cause}"] for stage in STAGES for cause in CAUSES
            },
            waited_for={stage: row[f"sum_for_{stage}"] for stage in WAITED_FOR},
            visits={stage: row[f"visits_{stage}"] for stage in STAGES},
        ),
        leads=[int(lead) for lead in row["leads"].split(",")],
        with_due=row["with_due"],
        on_time=row["in_time"],
        reworked=row["reworked"],
    )


def _in_work(caller: Caller, asked: FlowAsked, at: datetime) -> QuerySet[Job]:
    """Return the cars here that are not ready, with what each is waiting for just now."""
    holds = Hold.objects.filter(job=OuterRef("pk"), ended_at__isnull=True)
    # What is done and has to be felt waits for a person, not for the air.
    to_come = Q(ends_at__isnull=True) | Q(ends_at__gt=at)
    clocks = WaitClock.objects.filter(running_at(at), to_come, job=OuterRef("pk"))
    last_first = F("ends_at").desc(nulls_first=True)
    here = jobs_of(caller).filter(is_open=True, arrived_at__isnull=False, ready_at__isnull=True)
    return _narrowed(here, asked).annotate(
        held_for=Subquery(holds.order_by("started_at", "pk").values("cause")[:1]),
        worked_on=worked_on_now(),
        waits_for=Subquery(clocks.order_by(last_first, "pk").values("kind")[:1]),
    )


def _now(in_work: Iterable[Any]) -> dict[tuple[Stage, Cause], int]:
    """Count the cars in work by stage and cause."""
    found: Counter[tuple[Stage, Cause]] = Counter()
    for job in in_work:
        cause = cause_of(
            held=[Cause(job.held_for)] if job.held_for else [],
            worked_on=job.worked_on,
            clocks=[CLOCK_CAUSES[WaitClock.Kind(job.waits_for)]] if job.waits_for else [],
        )
        found[Stage(job.stage), cause] += 1
    return found


def _stays(
    caller: Caller, asked: FlowAsked, start: datetime, end: datetime, in_work: Iterable[Job]
) -> list[tuple[datetime, datetime | None]]:
    """Return arrival and ready of the cars that the period cuts."""
    cut = Q(arrived_at__lt=start) | Q(ready_at__gte=end, arrived_at__lt=end)
    done = _narrowed(_cars_of(caller), asked).filter(cut, ready_at__gte=start)
    return [
        *done.values_list("arrived_at", "ready_at"),
        *((job.arrived_at, None) for job in in_work if job.arrived_at is not None),
    ]


def _charted(
    cars: QuerySet[FlowCar], start: datetime, end: datetime
) -> tuple[list[ChartedCar], list[int]]:
    """Return the latest cars of the period, and the seconds of those before them: one query.

    Both begin with the earliest; what came before the chart may have been ready before the period.
    """
    names = ("pk", "job__registration", "job__vin", "job__dealer_ref", "ready_at", "lead_seconds")
    latest = cars.filter(ready_at__lt=end).order_by("-ready_at", "-pk").values_list(*names)
    rows = list(latest[: CHARTED + BEFORE_CHART])
    count = sum(ready_at >= start for *_, ready_at, _ in rows[:CHARTED])
    points = [
        ChartedCar(pk, registration or vin, dealer_ref, ready_at, lead)
        for pk, registration, vin, dealer_ref, ready_at, lead in reversed(rows[:count])
    ]
    return points, [lead for *_, lead in reversed(rows[count : count + BEFORE_CHART])]


def _load(caller: Caller, asked: FlowAsked, totals: Totals) -> Load | None:
    """Return the load of the people; of some of the cars alone there is none to speak of."""
    if asked.dealer_id is not None or asked.purpose:
        return None
    capacity = capacity_of(caller)
    days = (asked.until - asked.since).days + 1
    weekdays = ((asked.since + number * ONE_DAY).weekday() for number in range(days))
    return load_of(
        totals,
        minutes_there=sum(capacity.get(weekday, 0) for weekday in weekdays),
        longest_day_minutes=max(capacity.values(), default=0),
    )
