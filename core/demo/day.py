"""The day as it goes on: what was done when, what must be told for it, and printing both."""

import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from core.demo import timeline
from core.demo.cast import BRACKMOOR, DEALERS, QUILLHAVEN, WORKSHOP, Car
from core.demo.dashboard import READY, Dashboard
from core.demo.ledger import Ledger, Notice
from core.demo.postbox import Postbox

PATIENCE_SECONDS = 20.0
SHORT_PATIENCE_SECONDS = 2.0  # once something is missing already
MAILED = (
    "work_order.accepted",
    "work_order.declined",
    "job.held",
    "job.ready",
    "job.collected",
)


@dataclass(slots=True)
class Step:
    """One thing that happened, and what must be told for it."""

    at: str
    who: str
    car: str
    text: str
    sent: float  # seconds, time.monotonic(), when the call was sent
    notes: list[str] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    told_by: str = ""  # the channel on which this car's dealer is told


class Day:
    """Keeps the jobs by registration, the steps not printed yet, and the ledger."""

    def __init__(
        self, *, midnight: datetime, webhooks: Postbox, mails: Postbox, dashboard: Dashboard
    ) -> None:
        self.midnight = midnight
        self.postboxes: Mapping[str, Postbox] = {
            webhooks.channel: webhooks,
            mails.channel: mails,
        }
        self.channel_of = {BRACKMOOR.name: webhooks.channel, QUILLHAVEN.name: mails.channel}
        self.dashboard = dashboard
        self.jobs: dict[str, dict[str, Any]] = {}  # by registration, as last read
        self.dealer_of: dict[str, str] = {}  # by job id
        self.cars: dict[str, str] = {}  # registration by job id
        self.ledger = Ledger(self.cars)
        self._pending: list[Step] = []
        self._together = False
        self._patience = PATIENCE_SECONDS

    def clock(self, at: str) -> datetime:
        """Return the instant the workshop's clocks show as `at` today."""
        hours, minutes = at.split(":")
        return self.midnight + timedelta(hours=int(hours), minutes=int(minutes))

    def shown(self, instant: datetime) -> str:
        """Return an instant as the workshop's clocks show it."""
        return f"{instant.astimezone(self.midnight.tzinfo):%H:%M}"

    def later(self, days: int, at: str) -> str:
        """Return, as the API takes it, a time of day so many days from now."""
        return (self.clock(at) + timedelta(days=days)).isoformat()

    def know(self, car: Car, job: dict[str, Any], dealer: str) -> None:
        """Remember the job that a car's order became."""
        self.cars[job["id"]] = car.registration
        self.dealer_of[job["id"]] = dealer
        self.jobs[car.registration] = job

    def tell(
        self,
        at: str,
        who: str,
        car: Car | None,
        text: str,
        *,
        sent: float,
        notices: Iterable[Notice] = (),
        notes: Iterable[str] = (),
    ) -> None:
        """Write down one step; print it once everything told for it has arrived."""
        told = list(notices)
        channels = {self.channel_of[self.dealer_of[notice.job_id]] for notice in told}
        step = Step(
            at=at,
            who=who,
            car=car.registration if car else "",
            text=text,
            sent=sent,
            notes=list(notes),
            notices=told,
            told_by=channels.pop() if channels else "",
        )
        for notice in told:
            self._enter(notice)
        self._pending.append(step)
        if not self._together:
            self.print_pending()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Take several steps before waiting for what is told for them."""
        self._together = True
        try:
            yield
        finally:
            self._together = False
            self.print_pending()

    def print_pending(self) -> None:
        """Print the steps taken, each with what came of it."""
        steps, self._pending = self._pending, []
        for step in steps:
            timeline.step(step.at, step.who, step.car, step.text)
            for note in step.notes:
                timeline.under(note)
            self._print_notices(step)

    def _enter(self, notice: Notice) -> None:
        dealer = self.dealer_of[notice.job_id]
        for organisation in (dealer, WORKSHOP.name):
            self.ledger.due_in_feed[organisation].append(notice)
        channel = self.channel_of[dealer]
        if self._goes_to(channel, notice):
            self.ledger.due_as[channel].append(notice)
        if notice.type == READY and dealer == DEALERS[0].name:
            self.ledger.due_on_dashboard.append(notice)

    def _goes_to(self, channel: str, notice: Notice) -> bool:
        return channel != self.channel_of[QUILLHAVEN.name] or notice.type in MAILED

    def _print_notices(self, step: Step) -> None:
        due = [notice for notice in step.notices if self._goes_to(step.told_by, notice)]
        if not due:
            return
        postbox = self.postboxes[step.told_by]
        deadline = time.monotonic() + self._patience
        if not postbox.wait_for(due, deadline):
            self._patience = SHORT_PATIENCE_SECONDS
        for notice in due:
            tries = postbox.tries_of(notice)
            timeline.handed_over(notice.type, postbox.channel, tries, step.sent)
            if notice in self.ledger.due_on_dashboard:
                self._print_sighting(notice, step.sent)

    def _print_sighting(self, notice: Notice, sent: float) -> None:
        seen = self.dashboard.wait_for(notice, time.monotonic() + self._patience)
        if seen is None:
            self._patience = SHORT_PATIENCE_SECONDS
            timeline.told("dashboard", "GET /ready", None, "THE CAR DID NOT APPEAR")
        else:
            timeline.told("dashboard", "GET /ready", seen - sent, "seen there")
