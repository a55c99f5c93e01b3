"""The dealer's board: ready cars, what waits for the dealer, all cars, what happened since."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.dateparse import parse_datetime
from django.utils.safestring import SafeString
from django.utils.timezone import is_aware

from accounts.caller import Access, Caller, Scope, dealers, people
from accounts.pages.base import PageView
from accounts.pages.polls import PolledPage
from core.clock import now
from core.problems import NotAllowed
from core.templatetags.look import when
from jobs.dashboard.cars import GONE, PLACES, Car, still_there
from jobs.dashboard.lines import (
    FindingCard,
    car_line,
    changed_line,
    finding_card,
    mark_of,
    ready_card,
    stopped_card,
)
from jobs.dashboard.selectors import (
    LATELY,
    MOST_CARS,
    MOST_FOUND,
    Board,
    board_of,
    cars_found,
    look_of,
)
from jobs.dashboard.services import FIRST_LOOK, look_finish, look_take
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Over, Weight
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Finding, HistoryEntry, Job, WorkRequest
from jobs.work.words.jobs.history import over_words, sentence

READ = dealers(Scope.READ)
EVERY_SECONDS = 10
MOST_OF_ONE_CAR = 3
MOST_CHANGED = 15
MOST_OTHERS = 40
LONGEST_SEARCH = 80
WEIGHT_ORDER = (Weight.DO_NOT_DRIVE, Weight.BEFORE_SALE, Weight.FOR_INFORMATION)


@dataclass(frozen=True, slots=True)
class ToAcknowledge:
    """A finding that the dealer has not acknowledged; what belongings are is kept from a board."""

    finding: Finding
    car: Job

    @property
    def danger(self) -> bool:
        """Return whether the car must not be driven."""
        return self.finding.weight == Weight.DO_NOT_DRIVE

    @property
    def weight(self) -> str:
        """Return in words how much it matters."""
        return WEIGHT_WORDS[Weight(self.finding.weight)]

    @property
    def area(self) -> str:
        """Return where on the car."""
        return AREAS[self.finding.area].name

    @property
    def transport(self) -> str:
        """Return who will transport it and when, where that is recorded."""
        finding = self.finding
        return over_words(finding.over_how, finding.over_by, finding.over_at)

    @property
    def noticed(self) -> str:
        """Return what was noticed."""
        if self.finding.kind == FindingKind.BELONGINGS:
            return "Somebody's belongings were found in the car."
        return self.finding.noticed

    @property
    def card(self) -> FindingCard:
        """Return all that a card says of it."""
        finding = self.finding
        return FindingCard(
            finding_id=finding.pk,
            mark=mark_of(self.car),
            car=str(self.car),
            danger=self.danger,
            needs=finding.weight == Weight.BEFORE_SALE,
            weight=self.weight,
            noticed=self.noticed,
            area=self.area,
            found_at=when(finding.occurred_at),
            pictures=getattr(finding, "pictures", 0),
            acknowledged=finding.acknowledged_at is not None,
            over=bool(finding.over_how),
            transport=self.transport,
        )


@dataclass(frozen=True, slots=True)
class ToAnswer:
    """A request that waits for the dealer."""

    request: WorkRequest
    car: Job

    @property
    def asked(self) -> bool:
        """Return whether the dealer asked and the workshop has not replied yet."""
        return getattr(self.request, "last_side", None) == "dealer"


def shown(board: Board, seen_until: datetime, at: datetime) -> dict[str, Any]:
    """Return what the board's template says."""
    jobs = {job.pk: job for job in board.cars}
    cars = _cars(board, at)
    by_place = defaultdict(list)
    for car in cars:
        by_place[car.place].append(car)
    ready = sorted(
        (car for car in by_place[Stage.READY.value] if not car.must_not_be_driven),
        key=lambda car: car.job.ready_at or at,
        reverse=True,
    )
    stopped = [car for car in cars if _is_stopped(car)]
    to_acknowledge = _to_acknowledge(board, jobs)
    shown_above = {car.job.pk for car in stopped}
    dangers = [
        finding
        for finding in to_acknowledge
        if finding.danger and finding.car.pk not in shown_above
    ]
    lesser_findings = [finding for finding in to_acknowledge if not finding.danger]
    to_answer = [ToAnswer(request, jobs[request.job_id]) for request in board.requests]
    to_fetch = [car for car in cars if still_there(car.job)]
    return {
        **_shown_changes(board, jobs),
        "ready": [ready_card(car) for car in ready],
        "stopped": [_stopped(car) for car in stopped],
        "dangers": [finding_card(finding.card) for finding in dangers],
        "to_answer": to_answer,
        "to_fetch": to_fetch,
        "others": [finding_card(finding.card) for finding in lesser_findings[:MOST_OTHERS]],
        "others_more": len(lesser_findings[MOST_OTHERS:]),
        "needs_count": len(dangers) + len(lesser_findings) + len(to_answer) + len(to_fetch),
        "at_work": sum(len(by_place[key]) for key in PLACES),
        "places": [
            (name, [car_line(car) for car in by_place[key]])
            for key, name in PLACES.items()
            if by_place[key]
        ],
        "lately": [
            car_line(car, words=True, end=True)
            for car in by_place[GONE]
            if not still_there(car.job)
        ],
        "seen_until": seen_until,
        "any_cars": bool(cars),
        "most_cars": MOST_CARS if board.more_cars else 0,
        "lately_days": LATELY.days,
    }


def _shown_changes(board: Board, jobs: Mapping[UUID, Job]) -> dict[str, Any]:
    """Return what is said of cars that changed since somebody looked."""
    changed = _by_car(board)
    return {
        "changed": [_changed(jobs[pk], changed[pk]) for pk in list(changed)[:MOST_CHANGED]],
        "changed_more": max(0, len(changed) - MOST_CHANGED),
        "changed_until": board.happened[0].recorded_at.isoformat() if board.happened else "",
    }


def _is_stopped(car: Car) -> bool:
    """Return whether a car stands somewhere and must not be driven."""
    gone = car.place == GONE and not still_there(car.job)
    return car.must_not_be_driven and not gone


def _stopped(car: Car) -> SafeString:
    return stopped_card(car, [ToAcknowledge(stop, car.job).card for stop in car.stops])


def _cars(board: Board, at: datetime) -> list[Car]:
    holds, stops = defaultdict(list), defaultdict(list)
    for hold in board.holds:
        holds[hold.job_id].append(hold)
    for finding in board.findings:
        if finding.must_not_be_driven:
            stops[finding.job_id].append(finding)
    return [Car(job, at, holds[job.pk], stops[job.pk]) for job in board.cars]


def _to_acknowledge(board: Board, jobs: dict[UUID, Job]) -> list[ToAcknowledge]:
    waiting = [
        finding
        for finding in board.findings
        if finding.acknowledged_at is None and finding.over_how != Over.WITHDRAWN
    ]
    waiting.sort(key=lambda finding: WEIGHT_ORDER.index(Weight(finding.weight)))
    return [ToAcknowledge(finding, jobs[finding.job_id]) for finding in waiting]


def _by_car(board: Board) -> dict[UUID, list[HistoryEntry]]:
    """Return what happened by car; the car it happened to last stands first."""
    by_car = defaultdict(list)
    for entry in board.happened:
        by_car[entry.job_id].append(entry)
    return by_car


def _changed(car: Job, entries: list[HistoryEntry]) -> SafeString:
    told = [(entry, sentence(entry)) for entry in entries[:MOST_OF_ONE_CAR]]
    return changed_line(car, told, len(entries[MOST_OF_ONE_CAR:]))


def person_of(caller: Caller) -> UUID:
    """Return who looks. Raises NotAllowed for a system, which has no dashboard."""
    if caller.person_id is None:
        raise NotAllowed("This page is for people.")
    return caller.person_id


class BoardPage(PolledPage):
    """The board, as the page and the part that refreshes itself make it.

    It shows nothing that moves by the minute, so that a tag is good for longer.
    """

    access: ClassVar[dict[str, Access]] = {"GET": READ}
    poll_name = "dashboard_board"
    longest = timedelta(minutes=5)


class Dashboard(BoardPage):
    """The whole page; with `q` the cars that were looked for instead of the board."""

    def known_caller(self, request: HttpRequest) -> None:
        """Make the page anew whenever it is opened: its tag is that of the board on it."""
        del request

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the board, and note that somebody looked."""
        wanted = request.GET.get("q", "").strip()[:LONGEST_SEARCH]
        if wanted:
            return self.found(request, caller, wanted)
        seen_until = look_take(person_id=person_of(caller), at=now())
        at = now()
        board = board_of(caller, seen_until, at)
        return self.page(
            request,
            caller,
            "jobs/dashboard/dashboard.html",
            here="dashboard",
            tag=self.tag("", caller, at, board.changes_at),
            every=EVERY_SECONDS,
            **shown(board, seen_until, at),
        )

    def found(self, request: HttpRequest, caller: Caller, wanted: str) -> HttpResponse:
        """Show the cars that were looked for."""
        at = now()
        return self.page(
            request,
            caller,
            "jobs/dashboard/found.html",
            here="dashboard",
            q=wanted,
            cars=self.as_lines(cars_found(caller, wanted, at), at),
            most_found=MOST_FOUND,
        )

    @staticmethod
    def as_lines(jobs: list[Job], at: datetime) -> list[SafeString]:
        """Return the cars as lines."""
        return [car_line(Car(job, at), words=True) for job in jobs]


class DashboardBoard(BoardPage):
    """The part of the page that refreshes itself."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the board."""
        at = now()
        look = look_of(person_of(caller))
        seen_until = (
            look.seen_until if look else at.replace(minute=0, second=0, microsecond=0) - FIRST_LOOK
        )
        board = board_of(caller, seen_until, at)
        response = self.page(
            request, caller, "jobs/dashboard/board.html", **shown(board, seen_until, at)
        )
        return self.tagged(response, request, caller, at, board.changes_at)


class DashboardSeen(PageView):
    """The button that says: I have seen all this."""

    access: ClassVar[dict[str, Access]] = {"POST": people(sides=READ.sides)}

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Count as seen what the page showed; what happened since then stays new."""
        at = now()
        until = _moment(request.POST.get("until", "")) or at
        look_finish(person_id=person_of(caller), until=until, at=at)
        return self.done(request, reverse("dashboard"))


def _moment(text: str) -> datetime | None:
    try:
        moment = parse_datetime(text)
    except ValueError:
        return None
    return moment if moment is not None and is_aware(moment) else None
