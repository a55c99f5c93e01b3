"""How long work takes here, beside our standard, and the minutes that somebody is asked about."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse

from accounts.caller import Access, Caller
from accounts.selectors import people_for
from core.clock import now
from core.forms import Field, PageForm
from core.problems import Conflict, InvalidRequest
from jobs.desk.base import MANAGERS, DeskPage
from jobs.work.calc.minutes.durations import Forecast
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.inputs.minutes import DurationsQuery, MinutesInput
from jobs.work.models import Job
from jobs.work.selectors.minutes import Asked, AskedAbout, OperationTime, durations_of
from jobs.work.services.minutes.confirming import minutes_tell

# From how many observations on the history says so much, in words; our own steps.
SAYS = ((20.0, "much"), (5.0, "some"), (0.05, "little"), (0.0, "nothing yet"))
# The drawing is so many times the standard wide.
WIDEST = 2.5
MINUTES = (
    Field("right", "The minutes are right", "hidden"),
    Field("minutes", "Minutes it really took", "number"),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One operation: its minutes, what they rest on, and the drawing, in hundredths of its width.

    In the drawing a line marks our standard, and a bar reaches from what is likely to what four of
    five stay within.
    """

    time: OperationTime
    likely: int
    within: int
    says: str
    standard_at: float
    bar_from: float
    bar_width: float


@dataclass(frozen=True, slots=True)
class Question:
    """One task that is asked about; `wrong` is what is wrong with the answer that was typed."""

    asked: AskedAbout
    likely: int
    typed: str = ""
    wrong: str = ""


def says_of(forecast: Forecast) -> str:
    """Return in a word or two how much the history says."""
    return next(word for least, word in SAYS if forecast.observations >= least)


def row_of(time: OperationTime) -> Row:
    """Return an operation as the page shows it."""
    forecast = time.forecast
    unit = 100 / (WIDEST * time.operation.standard_minutes)
    start = min(forecast.likely * unit, 100.0)
    return Row(
        time=time,
        likely=round(forecast.likely),
        within=round(forecast.four_of_five),
        says=says_of(forecast),
        standard_at=100 / WIDEST,
        bar_from=start,
        bar_width=max(min(forecast.four_of_five * unit, 100.0) - start, 1.0),
    )


def filter_fields(people: Iterable[tuple[UUID, str]]) -> Sequence[Field]:
    """Return the fields that narrow the figures to some cars or one person's work."""
    sizes = [(size, label.capitalize()) for size, label in Job.BodySize.choices]
    dirt = [(str(level.level), f"{level.level}: {level.name}") for level in LEVELS.values()]
    named = [(str(pk), name) for pk, name in people]
    return (
        Field("body_size", "Size", "select", choices=[("", "As cars come here"), *sizes]),
        Field("soiling", "Dirt", "select", choices=[("", "As cars come here"), *dirt]),
        Field("person", "Who does it", "select", choices=[("", "Whoever it is"), *named]),
    )


class DeskDurations(DeskPage):
    """How long work takes here."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it, for the cars and the person that were chosen."""
        return self.shown(request, caller, request.GET)

    def shown(
        self,
        request: HttpRequest,
        caller: Caller,
        chosen: QueryDict,
        *,
        failed: tuple[UUID, PageForm] | None = None,
        status: int = 200,
    ) -> HttpResponse:
        """Render the page, perhaps with an answer that was not right."""
        fields = filter_fields(people_for(caller).values_list("pk", "name"))
        narrowed = PageForm(DurationsQuery, fields, typed=chosen)
        values = narrowed.values if narrowed.is_valid() else {}
        durations = durations_of(
            caller,
            Asked(
                body_size=values.get("body_size", ""),
                soiling=values.get("soiling"),
                person_id=values.get("person"),
            ),
        )
        rows = [row_of(operation) for operation in durations.operations]
        return self.page(
            request,
            caller,
            "jobs/desk/durations.html",
            status=status,
            here="set_up",
            form=failed[1] if failed else None,
            fields=list(narrowed.fields.values()),
            groups=[
                (stage.value, list(some))
                for stage, some in groupby(
                    sorted(rows, key=_by_stage), key=lambda row: row.time.operation.stage
                )
            ],
            questions=[_question(asked, failed) for asked in durations.asked],
            more=durations.asked_in_all - len(durations.asked),
            learnt_from=durations.seen.learnt.finished,
            gone=durations.seen.gone,
        )


def _by_stage(row: Row) -> int:
    return list(type(row.time.operation.stage)).index(row.time.operation.stage)


def _question(asked: AskedAbout, failed: tuple[UUID, PageForm] | None) -> Question:
    likely = round(asked.forecast.likely)
    if failed is None or failed[0] != asked.task.pk:
        return Question(asked, likely)
    typed = failed[1].fields["minutes"]
    return Question(asked, likely, str(typed.value), " ".join(typed.errors))


class DeskMinutes(DeskDurations):
    """Takes the answer about the minutes of one task."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGERS}

    def post(
        self, request: HttpRequest, caller: Caller, job_id: UUID, task_id: UUID
    ) -> HttpResponse:
        """Record it, and go back to the page."""
        form = PageForm(MinutesInput, MINUTES, typed=request.POST)
        failed = (task_id, form)
        if not form.is_valid():
            return self.shown(request, caller, QueryDict(), failed=failed, status=400)
        try:
            task = minutes_tell(
                caller=caller,
                job_id=job_id,
                task_id=task_id,
                minutes=form.values.get("minutes"),
                occurred_at=now(),
            )
        except (InvalidRequest, Conflict) as problem:
            form.add_problem(problem)
            return self.shown(request, caller, QueryDict(), failed=failed, status=problem.status)
        minutes = task.told_minutes or task.actual_minutes
        return self.done(
            request, reverse("desk_durations"), f"{task.name}: {minutes} minutes count."
        )
