"""The workshop's cars as its desk sees them: where each stands, what is left, who is on it.

A fixed number of queries however many cars there are.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from accounts.caller import Caller
from core.problems import InvalidRequest
from jobs.work.calc.hours import minutes_left
from jobs.work.models import Hold, Job, Spell, Task
from jobs.work.selectors.curing.clocks import Running, halted_on, to_feel, waits_add, waits_until
from jobs.work.selectors.jobs.jobs import jobs_of
from jobs.work.selectors.tasks import holds_of, minutes_worked, name_of, spells_begun

MOST_CARS = 300  # at once at one workshop; beyond that the page says that it shows no more
PAGE = 50
HERE = Q(is_open=True) | Q(
    cancelled_at__isnull=False, arrived_at__isnull=False, collected_at__isnull=True
)
# What a line of the list says of the car itself.
ON_THE_LIST = (
    "dealer__name", "decision", "stage", "do_not_drive", "arrived_at", "ready_at", "cancelled_at",
    "registration", "vin", "make", "model", "dealer_ref", "due_at", "received_at",
)  # fmt: skip
COUNTED = (Task.State.WANTED, Task.State.STARTED, Task.State.FINISHED)


@dataclass(frozen=True, slots=True)
class CarFilter:
    """What a list of cars is narrowed by; what is empty narrows nothing."""

    dealer_id: UUID | None = None
    stage: str = ""
    held: bool = False
    text: str = ""


@dataclass(slots=True)
class Work:
    """The tasks of one car: how many are done of how many, and who is on them now.

    `left`: the planned minutes of the open ones less those worked on them.
    """

    done: int = 0
    of: int = 0
    left: int = 0
    people: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class DeskCar:
    """One car with what holds it and how far its work is."""

    job: Job
    holds: Sequence[Hold]
    work: Work
    waits_until: datetime | None = None  # when the last of what cures or dries on it is done
    to_feel: str = ""  # what ought to be dry by now, and nobody has felt
    halted: str = ""  # what stands still, so that nobody can say when all is done


def cars_here(caller: Caller) -> QuerySet[Job]:
    """Return the cars that are still the workshop's business, the oldest order first.

    That is every open order, and a cancelled one whose car stands here.
    """
    return jobs_of(caller).filter(HERE).select_related("dealer").order_by("pk")


def cars_gone(caller: Caller) -> QuerySet[Job]:
    """Return the cars that are over: collected, declined, or cancelled before they came."""
    return jobs_of(caller).exclude(HERE).select_related("dealer").order_by("-pk")


def narrowed(cars: QuerySet[Job], by: CarFilter) -> QuerySet[Job]:
    """Narrow a list of cars."""
    if by.dealer_id is not None:
        cars = cars.filter(dealer_id=by.dealer_id)
    if by.stage:
        cars = cars.filter(stage=by.stage)
    if by.held:
        cars = cars.filter(open_holds__gt=0)
    if by.text:
        cars = cars.filter(mentions(by.text))
    return cars


def mentions(text: str) -> Q:
    """Return the condition of a car called so: part of its mark, VIN or dealer's reference."""
    key = "".join(letter for letter in text.upper() if letter.isascii() and letter.isalnum())
    named = Q(dealer_ref__icontains=text)
    return named | Q(registration_key__contains=key) | Q(vin__contains=key) if key else named


@dataclass(frozen=True, slots=True)
class DeskBoard:
    """The cars here; `more`: there are more than come here. `running`: what runs on those shown."""

    cars: list[DeskCar]
    more: bool
    running: Running


def board_of(caller: Caller, by: CarFilter, at: datetime) -> DeskBoard:
    """Return the cars here: five queries.

    Minutes of work are as of the last whole minute, so that they all move at once.
    """
    found = narrowed(cars_here(caller), by).only(*ON_THE_LIST)
    jobs = list(found[: MOST_CARS + 1])
    shown = jobs[:MOST_CARS]
    running = waits_add(shown, at)
    cars = desk_cars(shown, at.replace(second=0, microsecond=0))
    return DeskBoard(cars, len(jobs) > MOST_CARS, running)


def desk_cars(jobs: Sequence[Job], at: datetime) -> list[DeskCar]:
    """Return the jobs with holds and work as of an instant: three queries, and two for work."""
    ids = [job.pk for job in jobs]
    holds = holds_of(ids)
    work = work_of(ids, holds, at)
    return [
        DeskCar(
            job,
            [hold for hold in holds[job.pk] if hold.ended_at is None],
            work[job.pk],
            waits_until(job),
            to_feel(job),
            halted_on(job),
        )
        for job in jobs
    ]


def work_of(
    job_ids: Sequence[UUID], holds: dict[UUID, list[Hold]], at: datetime
) -> dict[UUID, Work]:
    """Return how far the work on each job is: two queries, and two more where work is under way.

    What was worked on a task already counts as done, up to its planned minutes.
    """
    spells = spells_begun(job_ids)
    worked = minutes_worked(spells, holds, at)
    work: dict[UUID, Work] = defaultdict(Work)
    tasks = Task.objects.filter(job_id__in=job_ids, state__in=COUNTED).order_by("pk")
    for pk, job_id, state, planned in tasks.values_list("pk", "job_id", "state", "planned_minutes"):
        part = work[job_id]
        part.of += 1
        if state == Task.State.FINISHED:
            part.done += 1
        else:
            part.left += minutes_left(planned=planned, worked=worked.get(pk, 0))
            _name_people(part, spells.get(pk, ()))
    return work


def _name_people(work: Work, spells: Sequence[Spell]) -> None:
    now = [name_of(spell) for spell in spells if spell.ended_at is None]
    work.people += [who for who in dict.fromkeys(now) if who not in work.people]


def gone_page(caller: Caller, by: CarFilter, before: str) -> tuple[list[Job], str]:
    """Return a page of cars that are over, newest order first, and the cursor of the next one.

    Raises InvalidRequest for a cursor that is none.
    """
    cars = narrowed(cars_gone(caller), by)
    if before:
        cars = cars.filter(pk__lt=_cursor(before))
    found = list(cars[: PAGE + 1])
    shown = found[:PAGE]
    return shown, str(shown[-1].pk) if len(found) > PAGE else ""


def _cursor(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError as error:
        raise InvalidRequest(
            "The page after this address is not one this list has.",
            next_step="Go back to the first page of the list.",
            errors=[{"field": "before", "message": "Not a place in this list."}],
        ) from error
