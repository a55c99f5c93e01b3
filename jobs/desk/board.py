"""All cars of the workshop: orders to answer first, then by stage; and those that are over."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from accounts.caller import Caller
from accounts.pages.polls import PolledPage
from core.clock import next_change, now
from jobs.desk.base import DeskPage, filter_form
from jobs.desk.lines import car_line
from jobs.desk.selectors.cars import CarFilter, DeskCar, board_of, gone_page
from jobs.desk.selectors.curing import Watched, running_here, watched
from jobs.work.calc.hours import is_late
from jobs.work.calc.stages.machine import Decision, Stage
from jobs.work.models import Job
from jobs.work.selectors.jobs.jobs import dealers_of

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
MEASURED_LONG_AGO = timedelta(hours=12)  # the air of another part of the day: our own figure
DECLINE_REASONS = (
    "We have no room by the time it is wanted back.",
    "We do not do the work that is ordered.",
)
STOPPED = "do_not_drive"
GROUPS = {
    "coming": "On their way here",
    Stage.INTAKE.value: "Intake",
    Stage.CLEANING.value: "Cleaning",
    Stage.CORRECTION.value: "Correction",
    Stage.CURING.value: "Curing",
    Stage.READY.value: "Ready",
    "cancelled": "Cancelled, still here",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One car as a line of the list; `due` is late, today or nothing."""

    car: DeskCar
    due: str

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.car.job

    @property
    def place(self) -> str:
        """Return where it is: a key of GROUPS."""
        return group_of(self.job)

    @property
    def where(self) -> str:
        """Return in words where it is."""
        return GROUPS[self.place]

    @property
    def line(self) -> SafeString:
        """Return it as it is drawn."""
        return car_line(self.car, place=self.place, where=self.where, due=self.due)


@dataclass(frozen=True, slots=True)
class Group:
    """The cars of one stage, or on their way, under a heading."""

    code: str
    title: str
    rows: Sequence[Row]


def due_word(job: Job, at: datetime) -> str:
    """Return late or today, where a car that is not ready is wanted back then; else nothing."""
    if job.due_at is None or job.stage == Stage.READY or job.cancelled_at is not None:
        return ""
    if is_late(job.due_at, at):
        return "late"
    return "today" if localtime(job.due_at).date() == localtime(at).date() else ""


def group_of(job: Job) -> str:
    """Return under which heading a car stands."""
    if job.cancelled_at is not None:
        return "cancelled"
    return job.stage if job.arrived_at is not None else "coming"


def grouped(cars: Sequence[DeskCar], at: datetime) -> Iterator[Group]:
    """Yield the groups that have cars: of each, those wanted back first, first.

    Cars that must not be driven stand before all others, wherever they are.
    """
    rows = [Row(car, due_word(car.job, at)) for car in cars]
    rows.sort(key=lambda row: (row.job.due_at is None, row.job.due_at or at, row.job.pk))
    stops = [row for row in rows if row.job.do_not_drive]
    if stops:
        yield Group(STOPPED, "Do not drive", stops)
    for code, title in GROUPS.items():
        found = [row for row in rows if not row.job.do_not_drive and row.place == code]
        if found:
            yield Group(code, title, found)


def board(caller: Caller, by: CarFilter, at: datetime) -> tuple[dict[str, Any], datetime]:
    """Return what the list shows, and when time alone has it show something else."""
    found = board_of(caller, by, at)
    cars = found.cars
    is_all = by == CarFilter() and not found.more
    to_decide = [car for car in cars if car.job.decision == Decision.AWAITED]
    decided = [car for car in cars if car.job.decision != Decision.AWAITED]
    groups = list(grouped(decided, at))
    eye = watched(caller, found.running if is_all else running_here(caller, at))
    last = eye.measured_at
    about = {
        "orders": [Row(car, due_word(car.job, at)) for car in to_decide],
        "stopped": [group for group in groups if group.code == STOPPED],
        "groups": [group for group in groups if group.code != STOPPED],
        "count": len(cars),
        "more": found.more,
        "filtered": by != CarFilter(),
        "reasons": DECLINE_REASONS,
        "watched": eye,
        "measured_long_ago": eye.running > 0 and (last is None or at - last > MEASURED_LONG_AGO),
    }
    return about, _changes_at(cars, eye, at)


def _changes_at(cars: Sequence[DeskCar], eye: Watched, at: datetime) -> datetime:
    """Return when a car is late, a clock ends, an hour is over since the air was measured, or so.

    Where somebody works, the minutes that are left move with each minute.
    """
    moments = [car.job.due_at for car in cars]
    moments.append(eye.changes_at)
    if eye.measured_at is not None:
        hours = max((at - eye.measured_at) // HOUR + 1, MEASURED_LONG_AGO // HOUR)
        moments.append(eye.measured_at + hours * HOUR)
    at_work = any(car.work.people for car in cars)
    return next_change(at, moments, every=MINUTE if at_work else None)


class DeskPoll(PolledPage, DeskPage):
    """The list of cars, as the page and the part that keeps it fresh make it."""

    poll_name = "desk_cars"


class Desk(DeskPoll):
    """All cars."""

    def known_caller(self, request: HttpRequest) -> None:
        """Make the page anew whenever it is opened: its tag is that of the list on it."""
        del request

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the cars that are here or coming, narrowed as asked."""
        query = request.GET.urlencode()
        at = now()
        form, by = filter_form(request.GET, dealers_of(caller))
        about, until = board(caller, by, at)
        cars = reverse("desk_cars")
        return self.page(
            request,
            caller,
            "jobs/desk/desk.html",
            status=400 if form.refused else 200,
            here="desk",
            form=form,
            poll="" if form.refused else (f"{cars}?{query}" if query else cars),
            tag=self.tag(query, caller, at, until),
            **about,
        )


class DeskCars(DeskPoll):
    """The list of cars alone, for the page that keeps it fresh."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Return the list."""
        at = now()
        _, by = filter_form(request.GET, [])
        about, until = board(caller, by, at)
        response = render(request, "jobs/desk/cars.html", {"caller": caller, **about})
        return self.tagged(response, request, caller, at, until)


class DeskGone(DeskPage):
    """The cars that are over."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show a page of them, the newest order first."""
        form, by = filter_form(request.GET, dealers_of(caller))
        jobs, following = gone_page(caller, by, request.GET.get("before", ""))
        onward = request.GET.copy()
        onward["before"] = following
        return self.page(
            request,
            caller,
            "jobs/desk/gone.html",
            status=400 if form.refused else 200,
            here="desk",
            form=form,
            jobs=jobs,
            onward=onward.urlencode() if following else "",
            filtered=by != CarFilter(),
        )
