"""What a dealer's dashboard shows: the cars, what waits for the dealer, what happened since.

A board takes the same few queries however many cars there are.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import (
    Count,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)

from accounts.caller import Caller
from core.clock import next_change, now
from jobs.work.calc.findings import Weight
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import (
    DashboardLook,
    Finding,
    HistoryEntry,
    Hold,
    Job,
    Photo,
    Rendition,
    RequestMessage,
    SpotReading,
    Task,
    WalkRound,
    WorkRequest,
)
from jobs.work.selectors.cars import CarFacts, facts_of
from jobs.work.selectors.curing.clocks import waits_add, with_waits
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job
from jobs.work.selectors.paint import readings_with_films
from jobs.work.selectors.photographs import with_paths

# Our own choices: how long a finished car stays in sight, and how much a page carries.
LATELY = timedelta(days=14)
HOUR = timedelta(hours=1)  # what was done lately goes by whole hours
MOST_CARS = 400
MOST_FOUND = 50
MOST_HAPPENED = 200
# What the board says of a car itself.
ON_THE_BOARD = (
    "workshop__name", "decision", "stage", "open_holds", "do_not_drive", "is_open", "arrived_at",
    "ready_at", "collected_at", "cancelled_at", "registration", "vin", "make", "model", "colour",
    "dealer_ref", "due_at", "location", "keys", "updated_at",
)  # fmt: skip
# What of an entry is told.
IN_A_SENTENCE = (
    "job_id", "kind", "data", "reason", "from_stage", "to_stage", "occurred_at", "recorded_at",
)  # fmt: skip
# What a dealer wants to know of; the workshop's steps in between stand in the car's own story.
TOLD = (
    Kind.ACCEPTED, Kind.DECLINED, Kind.CHANGED, Kind.CANCELLED, Kind.ARRIVED, Kind.MOVED,
    Kind.HELD, Kind.RELEASED, Kind.COLLECTED, Kind.FINDING, Kind.FINDING_SEEN,
    Kind.FINDING_CLEARED, Kind.WITHDRAWN, Kind.CORRECTED,
    Kind.REQUEST_OPENED, Kind.REQUEST_ASKED, Kind.REQUEST_REPLIED, Kind.REQUEST_CLOSED,
    Kind.CHANGE_SEEN, Kind.WAIT_MOVED,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Board:
    """What there is to show; `more_cars` and the like say that there is more than comes here."""

    cars: list[Job]
    more_cars: bool
    holds: list[Hold]
    findings: list[Finding]
    requests: list[WorkRequest]
    happened: list[HistoryEntry]
    changes_at: datetime  # when time alone has it show something else


@dataclass(frozen=True, slots=True)
class Story:
    """One car with all that a dealer may know of it."""

    facts: CarFacts
    tasks: list[Task]
    photos: list[tuple[Photo, dict[str, str]]]  # with their paths by size
    walk_rounds: list[WalkRound]
    readings: list[SpotReading]  # with what is known of films
    # Ids of photographs by the finding or request that they belong to.
    pictured: dict[UUID, set[UUID]]

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.facts.job


def look_of(person_id: UUID) -> DashboardLook | None:
    """Return when somebody looked at the dashboard, or None where they never did."""
    return DashboardLook.objects.filter(person_id=person_id).first()


def shown_cars(caller: Caller, at: datetime) -> QuerySet[Job]:
    """Return the caller's cars that a board at this moment shows."""
    gone_but_here = Q(cancelled_at__isnull=False, arrived_at__isnull=False, collected_at=None)
    lately = Q(updated_at__gte=_hour_of(at) - LATELY)
    return jobs_of(caller).filter(Q(is_open=True) | gone_but_here | lately)


def board_of(caller: Caller, seen_until: datetime, at: datetime) -> Board:
    """Return the board: six queries, however many cars there are."""
    wanted = shown_cars(caller, at).select_related("workshop").only(*ON_THE_BOARD)
    cars = list(
        wanted.order_by("-is_open", F("due_at").asc(nulls_last=True), "pk")[: MOST_CARS + 1]
    )
    shown = cars[:MOST_CARS]
    waits_change = waits_add(shown, at).changes_at
    held = [car.pk for car in shown if car.open_holds]
    changed = [car.pk for car in shown if car.updated_at > seen_until]
    return Board(
        cars=shown,
        more_cars=len(cars) > MOST_CARS,
        holds=list(Hold.objects.filter(job__in=held, ended_at=None).order_by("pk")),
        findings=_findings_waiting([car.pk for car in shown]),
        requests=_requests_waiting([car.pk for car in shown]),
        happened=_happened(changed, seen_until, caller),
        changes_at=next_change(at, [waits_change, *(car.due_at for car in shown)], every=HOUR),
    )


def _findings_waiting(cars: Iterable[UUID]) -> list[Finding]:
    """Return what is not acknowledged, and what keeps a car off the road, acknowledged or not."""
    waiting = Q(acknowledged_at=None) | Q(weight=Weight.DO_NOT_DRIVE.value)
    found = Finding.objects.filter(waiting, job__in=list(cars))
    return list(found.annotate(pictures=Count("photos")).order_by("pk"))


def _requests_waiting(cars: Iterable[UUID]) -> list[WorkRequest]:
    """Return the requests to answer, the first to run out first, with who spoke last."""
    last = RequestMessage.objects.filter(request=OuterRef("pk")).order_by("-pk")
    waiting = WorkRequest.objects.filter(job__in=list(cars), state=WorkRequest.State.OPEN)
    return list(
        waiting.annotate(
            last_side=Subquery(last.values("side")[:1]),
            last_text=Subquery(last.values("text")[:1]),
            pictures=Count("photos"),
        ).order_by("answer_by", "pk")
    )


def _happened(cars: Iterable[UUID], since: datetime, caller: Caller) -> list[HistoryEntry]:
    """Return what others did since, newest first; by our clock, since tablets send late."""
    entries = HistoryEntry.objects.filter(job__in=list(cars), recorded_at__gt=since)
    told = entries.filter(kind__in=[kind.value for kind in TOLD])
    # Nobody said yes: the trade account did, at the moment the order came.
    told = told.filter(~Q(kind=Kind.ACCEPTED.value) | Q(data__by_itself__isnull=True))
    by_others = told.exclude(actor_person_id=caller.person_id) if caller.person_id else told
    newest = by_others.order_by("-recorded_at", "-pk").only(*IN_A_SENTENCE)
    return list(newest[:MOST_HAPPENED])


def cars_found(caller: Caller, text: str, at: datetime) -> list[Job]:
    """Return the caller's cars, closed ones too, that a mark, reference or VIN in part names.

    They say what they wait for at that instant.
    """
    words = text.replace("\0", "").strip()
    key = "".join(letter for letter in words.upper() if letter.isascii() and letter.isalnum())
    named = Q(dealer_ref__icontains=words)
    if key:
        named |= Q(registration_key__contains=key) | Q(vin__contains=key)
    cars = jobs_of(caller).filter(named).select_related("workshop")
    found = list(cars.order_by("-is_open", "-pk")[:MOST_FOUND])
    waits_add(found, at)
    return found


def to_acknowledge_on(caller: Caller, job_id: UUID) -> list[UUID]:
    """Return the ids of what one of the caller's cars has to be acknowledged, oldest first.

    What keeps it off the road is left out: that is acknowledged by itself. Raises NotFound.
    """
    if not jobs_of(caller).filter(pk=job_id).exists():
        raise no_such_job()
    waiting = Finding.objects.filter(job=job_id, acknowledged_at=None)
    harmless = waiting.exclude(weight=Weight.DO_NOT_DRIVE.value)
    return list(harmless.order_by("pk").values_list("pk", flat=True))


def story_of(caller: Caller, job_id: UUID) -> Story:
    """Return one of the caller's cars with its story: nine queries. Raises NotFound."""
    open_hold = Hold.objects.filter(job=OuterRef("pk"), ended_at=None).order_by("pk")
    cars = jobs_of(caller).filter(pk=job_id).select_related("workshop", "dealer")
    at = now()
    facts = facts_of(
        with_waits(cars, at).annotate(
            hold_cause=Subquery(open_hold.values("cause")[:1]),
            hold_reason=Subquery(open_hold.values("reason")[:1]),
            hold_since=Subquery(open_hold.values("started_at")[:1]),
        ),
        at,
    )
    job = facts.job
    photos, pictured = _photos(job)
    return Story(
        facts=facts,
        tasks=list(Task.objects.filter(job=job).order_by("pk")),
        photos=photos,
        walk_rounds=list(WalkRound.objects.filter(job=job).order_by("pk")),
        readings=readings_with_films(job),
        pictured=pictured,
    )


def _photos(job: Job) -> tuple[list[tuple[Photo, dict[str, str]]], dict[UUID, set[UUID]]]:
    """Return the car's photographs with their paths by size, and what they belong to: one query."""
    stored = Rendition.objects.filter(photo__job=job).select_related("photo")
    owned = stored.annotate(of_finding=F("photo__findings"), of_request=F("photo__requests"))
    rows = list(owned.order_by("photo_id", "size"))
    pictured: dict[UUID, set[UUID]] = {}
    for row in rows:
        for owner in (row.of_finding, row.of_request):
            if owner is not None:
                pictured.setdefault(owner, set()).add(row.photo_id)
    return with_paths(rows), pictured


def order_for_page(caller: Caller, job_id: UUID) -> Job:
    """Return one of the caller's cars with its workshop. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).select_related("workshop").first()
    if job is None:
        raise no_such_job()
    return job


def changed_since(job: Job, version: int) -> bool:
    """Return whether the order itself was changed after a version; moves do not count."""
    changes = HistoryEntry.objects.filter(job=job, kind=Kind.CHANGED.value, version__gt=version)
    return changes.exists()


def _hour_of(at: datetime) -> datetime:
    return at.replace(minute=0, second=0, microsecond=0)
