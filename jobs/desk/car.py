"""One car for the desk: the order with its prices, what is done and open, and how it came to be."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.dateparse import parse_datetime
from django.utils.timezone import localtime

from accounts.caller import Caller
from accounts.navigation import Audience, car_page_of
from core.clock import now
from core.templatetags.look import said
from jobs.desk.base import DeskPage
from jobs.desk.board import due_word
from jobs.desk.requests import photo_words
from jobs.desk.selectors.car import WholeCar, whole_car
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.curing.outside_words import outside_words
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Over, Weight, caution_for
from jobs.work.calc.stages.machine import Decision, refuse_closed, refuse_work
from jobs.work.models import Finding, HistoryEntry, Job, SuppliedTick, Task
from jobs.work.selectors.stages import step_to_undo
from jobs.work.words.curing import DATA_SHEET, in_order
from jobs.work.words.jobs.history import over_words, sentence, undo_words
from jobs.work.words.jobs.standing import stages_of, standing

# A device that was out of reach sends later; less than this is only the way to us.
SENT_LATER = timedelta(minutes=5)
SUPPLIED_WORDS = {"": "not here yet", **dict(SuppliedTick.State.choices)}


@dataclass(frozen=True, slots=True)
class Told:
    """One entry of the history as a sentence; `sent_at` where it reached us much later."""

    entry: HistoryEntry
    sentence: str
    sent_at: datetime | None

    @property
    def changes(self) -> list[dict[str, str]]:
        """Return what of the order changed, field by field, in words."""
        changes = self.entry.data.get("changes", ())
        return [
            {
                "field": change["field"].replace("_", " "),
                "was": _in_words(change["field"], change["was"]),
                "now": _in_words(change["field"], change["now"]),
            }
            for change in changes
        ]


def _in_words(name: str, value: Any) -> str:
    """Return a value of the order as the history keeps it, in words; a moment in local time."""
    if name.endswith("_at") and value and (moment := parse_datetime(value)):
        local = localtime(moment)
        return f"{local:%a} {local.day} {local:%b %Y, %H:%M}"
    if isinstance(value, list):
        return ", ".join(str(item).replace("_", " ") for item in value)
    return "" if value is None else str(value)


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding in words, with the caution it carries."""

    finding: Finding
    area: str
    weight: str
    caution: str

    @property
    def over(self) -> str:
        """Return how a "do not drive" ended; nothing where it stands."""
        finding = self.finding
        said = over_words(finding.over_how, finding.over_by, finding.over_at)
        return f"{said} {finding.over_reason}".strip()

    @property
    def to_tell(self) -> bool:
        """Return whether the dealer has still to learn of it."""
        return self.finding.acknowledged_at is None and self.finding.over_how != Over.WITHDRAWN

    @property
    def to_give_back(self) -> bool:
        """Return whether it is about a thing that is here still."""
        belonging = getattr(self.finding, "belonging", None)
        return belonging is not None and belonging.is_thing and belonging.returned_at is None


def told(entry: HistoryEntry) -> Told:
    """Return an entry as the pages of the desk tell it."""
    late = entry.recorded_at - entry.occurred_at > SENT_LATER
    return Told(entry, sentence(entry), entry.recorded_at if late else None)


def finding_row(finding: Finding) -> FindingRow:
    """Return a finding in words."""
    area = AREAS[finding.area].name if finding.area in AREAS else finding.area
    weight, kind = Weight(finding.weight), FindingKind(finding.kind)
    return FindingRow(finding, area, WEIGHT_WORDS[weight], caution_for(kind, weight))


class DeskCarPage(DeskPage):
    """One car."""

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show everything about it."""
        car, at = whole_car(caller, job_id), now()
        job = car.job
        counted = [row for row in car.tasks if row.task.state != Task.State.DROPPED]
        return self.page(
            request,
            caller,
            "jobs/desk/car.html",
            here="desk",
            job=job,
            car=car,
            due=due_word(job, at),
            standing=standing(job),
            stages=stages_of(job),
            done=sum(row.task.state == Task.State.FINISHED for row in counted),
            planned=sum(row.task.planned_minutes for row in counted),
            spent=sum(row.minutes for row in car.tasks),
            danger=job.do_not_drive,
            findings=[finding_row(finding) for finding in car.facts.findings],
            photos=[(photo_words(photo), paths) for photo, paths in reversed(car.facts.photos)],
            history=[told(entry) for entry in reversed(car.facts.entries)],
            to_see=[told(entry) for entry in car.facts.changes],
            supplied=_supplied(car),
            waits=in_order(list(car.facts.running), at),
            outside_words=outside_words(outside, said) if (outside := car.facts.outside) else "",
            data_sheet=DATA_SHEET,
            may=_may(job),
            undo=undo_words(step) if (step := step_to_undo(job, car.facts.entries)) else "",
            tablet=reverse(car_page_of(Audience.BAY), args=[job.pk]),
        )


def _supplied(car: WholeCar) -> Sequence[tuple[str, str]]:
    return [(item, SUPPLIED_WORDS.get(state, state)) for item, state in car.facts.supplied.items()]


def _may(job: Job) -> set[str]:
    """Return what the page offers to do to the car as it stands."""
    if job.decision == Decision.AWAITED and refuse_closed(job.state) is None:
        return {"decide"}
    offered = set()
    if refuse_work(job.state) is None:
        offered |= {"hold", "ask"} | (set() if job.open_holds else {"move"})
    elif refuse_closed(job.state) is None:
        offered.add("arrive")
    if job.arrived_at is not None and job.collected_at is None:
        offered.add("collect")
    return offered
