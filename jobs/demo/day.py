"""The day as it goes on: what was done when, what must be told for it, and printing both."""

import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from jobs.demo import timeline
from jobs.demo.cast import BRACKMOOR, DEALERS, QUILLHAVEN, WORKSHOP, Car
from jobs.demo.client import DemoError
from jobs.demo.dashboard import READY, Dashboard
from jobs.demo.ledger import Ledger, Notice
from jobs.demo.postbox import Postbox

PATIENCE_SECONDS = 20.0
SHORT_PATIENCE_SECONDS = 2.0  # once something is missing already
MAILED = (
    "work_order.accepted",
    "work_order.declined",
    "job.held",
    "job.ready",
    "job.collected",
    "request.opened",
    "request.answered",
)


@dataclass(frozen=True, slots=True)
class Upload:
    """A photograph that was uploaded, and the SHA-256 of what was sent."""

    car: str
    photo_id: str
    sha256: str


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
        self.uploads: list[Upload] = []
        self.fetched: dict[str, str] = {}  # SHA-256 of what a dealer got, by the link in a notice
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

    def shown_text(self, instant: str) -> str:
        """Return an instant of an answer as the workshop's clocks show it."""
        return self.shown(datetime.fromisoformat(instant))

    def later(self, days: int, at: str) -> str:
        """Return, as the API takes it, a time of day so many days from now."""
        return (self.clock(at) + timedelta(days=days)).isoformat()

    def said(self, notice: Notice) -> str:
        """Return what the notice said, as its receiver got it."""
        channel = self.channel_of[self.dealer_of[notice.job_id]]
        texts = [
            receipt.text for receipt in self.postboxes[channel].tries_of(notice) if receipt.taken
        ]
        if not texts:
            raise DemoError(f"There is no {notice.type} to act on: nothing came.")
        return texts[-1]

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
        expected = list(notices)
        step = Step(
            at=at,
            who=who,
            car=car.registration if car else "",
            text=text,
            sent=sent,
            notes=list(notes),
            notices=expected,
        )
        for notice in expected:
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
        for channel in self._channels(notice):
            self.ledger.due_as[channel].append(notice)
        if notice.type == READY and dealer == DEALERS[0].name:
            self.ledger.due_on_dashboard.append(notice)

    def _channels(self, notice: Notice) -> list[str]:
        """Return the channels on which the car's dealer is told of it."""
        own = self.channel_of[self.dealer_of[notice.job_id]]
        mailed = own == self.channel_of[QUILLHAVEN.name]
        wanted = [own] if not mailed or notice.type in MAILED else []
        return [*wanted, *([notice.also_by] if notice.also_by else [])]

    def _print_notices(self, step: Step) -> None:
        deadline = time.monotonic() + self._patience
        due = [(notice, channel) for notice in step.notices for channel in self._channels(notice)]
        for channel in dict.fromkeys(channel for _, channel in due):
            wanted = [notice for notice, by in due if by == channel]
            if not self.postboxes[channel].wait_for(wanted, deadline):
                self._patience = SHORT_PATIENCE_SECONDS
        for notice, channel in due:
            timeline.handed_over(
                notice.type, channel, self.postboxes[channel].tries_of(notice), step.sent
            )
            if notice in self.ledger.due_on_dashboard:
                self._print_sighting(notice, step.sent)

    def _print_sighting(self, notice: Notice, sent: float) -> None:
        seen = self.dashboard.wait_for(notice, time.monotonic() + self._patience)
        if seen is None:
            self._patience = SHORT_PATIENCE_SECONDS
            timeline.told("dashboard", "GET /ready", None, "THE CAR DID NOT APPEAR")
        else:
            timeline.told("dashboard", "GET /ready", seen - sent, "seen there")
