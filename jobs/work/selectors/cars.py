"""One car whole: what the tablet, the desk, the dashboard and the API know of it, read once."""

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from jobs.work.calc.curing.outside import Outside
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import (
    Finding,
    Forecast,
    HistoryEntry,
    Hold,
    Job,
    Photo,
    ScopeChange,
    WaitClock,
    WorkRequest,
)
from jobs.work.selectors.curing.clocks import LAST_TO_END, CarWaits, is_running, waits_of
from jobs.work.selectors.curing.waits import outside_of
from jobs.work.selectors.jobs.jobs import no_such_job
from jobs.work.selectors.jobs.reminders import Found, found_in
from jobs.work.selectors.photographs import photos_with_paths


class CarFacts:
    """All that is true of one car at an instant.

    Each part is one query, however much there is: made when somebody first asks for the part, and
    never again. So a page pays for what it shows, and nothing is shown by a row that was read
    without it: what a job waits for is asked about where its row does not say it.
    """

    def __init__(self, job: Job, at: datetime, *, kinds: Collection[str] = ()) -> None:
        self.job = job
        self.at = at
        self._kinds = kinds

    @cached_property
    def waits(self) -> CarWaits:
        """Return what the car waits for."""
        return waits_of(self.job)

    @cached_property
    def holds(self) -> list[Hold]:
        """Return the holds that last, the oldest first."""
        open_still = Hold.objects.filter(job=self.job, ended_at__isnull=True)
        return list(open_still.order_by("started_at", "pk"))

    @cached_property
    def findings(self) -> list[Finding]:
        """Return the findings with their belongings, the oldest first."""
        found = Finding.objects.filter(job=self.job).select_related("belonging")
        return list(found.order_by("pk"))

    @cached_property
    def found(self) -> Found:
        """Return what the findings leave open."""
        return found_in(self.findings)

    @cached_property
    def clocks(self) -> list[WaitClock]:
        """Return every clock there was, with task, coat and use, the last to end last."""
        forecast = Forecast.objects.filter(workshop=self.job.workshop_id)
        clocks = WaitClock.objects.filter(job=self.job).select_related("task", "coat", "use")
        with_forecast = clocks.annotate(
            issued_at=Subquery(forecast.values("issued_at")[:1]),
            hours=Subquery(forecast.values("hours")[:1]),
        )
        return list(with_forecast.order_by(LAST_TO_END, "pk"))

    @cached_property
    def running(self) -> list[WaitClock]:
        """Return what cures, dries or flashes off, as last worked out."""
        return [clock for clock in self.clocks if is_running(clock, self.at)]

    @cached_property
    def outside(self) -> Outside | None:
        """Return when what runs lets the car go outside; None where nothing runs."""
        if not self.running:
            return None
        by: Any = self.running[0]
        forecast = Forecast(issued_at=by.issued_at, hours=by.hours) if by.issued_at else None
        return outside_of(self.running, forecast, self.at)

    @cached_property
    def cured_at(self) -> datetime | None:
        """Return since when all that cured or dried is done; None where it is not, or none did."""
        cured = [clock for clock in self.clocks if clock.kind != WaitClock.Kind.FLASH_OFF]
        if any(is_running(clock, self.at) for clock in cured):
            return None
        return max((clock.over_at for clock in cured if clock.over_at is not None), default=None)

    @cached_property
    def photos(self) -> list[tuple[Photo, dict[str, str]]]:
        """Return the photographs with their paths by size, the newest first."""
        return photos_with_paths(self.job)

    @cached_property
    def requests(self) -> list[WorkRequest]:
        """Return the requests for extra work, the oldest first."""
        return list(WorkRequest.objects.filter(job=self.job).order_by("pk"))

    @cached_property
    def entries(self) -> list[HistoryEntry]:
        """Return the history, of some kinds or whole; `changes` are among it."""
        return list(self._entries())

    def _entries(self) -> QuerySet[HistoryEntry]:
        unseen = ScopeChange.objects.filter(entry=OuterRef("pk"), seen_at__isnull=True)
        entries = HistoryEntry.objects.filter(job=self.job).annotate(to_see=Exists(unseen))
        if self._kinds:
            entries = entries.filter(kind__in=self._kinds)
        return entries.order_by("number")

    @cached_property
    def changes(self) -> list[HistoryEntry]:
        """Return the dealer's changes that nobody at the workshop has seen."""
        return [entry for entry in self.entries if getattr(entry, "to_see", False)]

    @cached_property
    def supplied(self) -> dict[str, str]:
        """Return the state of each thing the dealer supplies; empty where it has not come."""
        state = dict.fromkeys(self.job.supplied, "")
        ticked = [entry for entry in self.entries if entry.kind == Kind.SUPPLIED_TICKED]
        for entry in sorted(ticked, key=lambda tick: (tick.occurred_at, tick.number)):
            state[entry.data["item"]] = entry.data["state"]
        return state

    def said_of(self, request_id: str) -> Sequence[HistoryEntry]:
        """Return the dealer's questions about a request and the replies, the oldest first."""
        asked = (Kind.REQUEST_ASKED, Kind.REQUEST_REPLIED)
        return [
            entry
            for entry in self.entries
            if entry.kind in asked and entry.data.get("request_id") == request_id
        ]


def facts_of(cars: QuerySet[Job], at: datetime, *, kinds: Collection[str] = ()) -> CarFacts:
    """Return the facts of the one car among some jobs. Raises NotFound.

    `kinds`: the kinds of history entry that are wanted; all of them where none is named.
    """
    job = cars.first()
    if job is None:
        raise no_such_job()
    return CarFacts(job, at, kinds=kinds)
