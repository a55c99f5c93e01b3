"""What the lines and cards of the dealer's board say, in plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils.safestring import SafeString

from core.lines import drawn
from core.templatetags.look import when
from jobs.dashboard.cars import Car
from jobs.work.models import HistoryEntry, Job

Holds = tuple[tuple[str, SafeString | str], ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A car by its registration or VIN, as a link to its page."""

    job_id: UUID
    name: str


@dataclass(frozen=True, slots=True)
class CarLine:
    """A car in a list: `words` and `ended_at` where they are asked for."""

    mark: Mark
    name: str
    dealer_ref: str
    words: str
    danger: bool
    holds: Holds
    due: str
    halted: str
    waits_until: SafeString | str
    shows_end: bool
    ended_at: SafeString | str
    due_at: SafeString | str


@dataclass(frozen=True, slots=True)
class ReadyCard:
    """A car that is ready: where it stands, and what it still waits for."""

    mark: Mark
    name: str
    dealer_ref: str
    holds: Holds
    halted: str
    waits_until: SafeString | str
    not_felt: bool
    ready_at: SafeString | str
    workshop: str
    location: str
    keys: str


@dataclass(frozen=True, slots=True)
class FindingCard:
    """A finding to acknowledge, or one that keeps a car off the road."""

    finding_id: UUID
    mark: Mark
    car: str
    danger: bool
    needs: bool
    weight: str
    noticed: str
    area: str
    found_at: SafeString | str
    pictures: int
    acknowledged: bool
    over: bool
    transport: str


@dataclass(frozen=True, slots=True)
class StoppedCard:
    """A car that must not be driven, with the findings that say so."""

    mark: Mark
    name: str
    words: str
    workshop: str
    findings: tuple[FindingCard, ...]


@dataclass(frozen=True, slots=True)
class ChangedLine:
    """What happened to one car, the newest first; `more` entries are left out."""

    mark: Mark
    entries: tuple[tuple[str, SafeString | str], ...]
    more: int


def mark_of(job: Job) -> Mark:
    """Return a car as a link."""
    return Mark(job.pk, job.registration or job.vin)


def car_line(car: Car, *, words: bool = False, end: bool = False) -> SafeString:
    """Return a car as a line of a list."""
    job = car.job
    line = CarLine(
        mark=mark_of(job),
        name=car.name,
        dealer_ref=job.dealer_ref,
        words=car.words if words else "",
        danger=car.must_not_be_driven,
        holds=_holds(car),
        due=car.due,
        halted=car.halted,
        waits_until="" if car.halted else when(car.waits_until),
        shows_end=end,
        ended_at=when(car.ended_at) if end else "",
        due_at="" if end else when(job.due_at),
    )
    return drawn("jobs/dashboard/row.html", line)


def ready_card(car: Car) -> SafeString:
    """Return a car that is ready as a card."""
    job = car.job
    card = ReadyCard(
        mark=mark_of(job),
        name=car.name,
        dealer_ref=job.dealer_ref,
        holds=_holds(car),
        halted=car.halted,
        waits_until="" if car.halted else when(car.waits_until),
        not_felt=car.not_felt,
        ready_at=when(job.ready_at, "now"),
        workshop=job.workshop.name,
        location=job.location,
        keys=job.keys,
    )
    return drawn("jobs/dashboard/ready.html", card)


def stopped_card(car: Car, findings: Sequence[FindingCard]) -> SafeString:
    """Return a car that must not be driven as a card."""
    card = StoppedCard(
        mark_of(car.job), car.name, car.words, car.job.workshop.name, tuple(findings)
    )
    return drawn("jobs/dashboard/stopped.html", card)


def finding_card(card: FindingCard) -> SafeString:
    """Return a finding as a card."""
    return drawn("jobs/dashboard/to_acknowledge.html", card)


def changed_line(job: Job, told: Sequence[tuple[HistoryEntry, str]], more: int) -> SafeString:
    """Return what happened to a car as a line."""
    entries = tuple((words, when(entry.occurred_at)) for entry, words in told)
    return drawn("jobs/dashboard/changed.html", ChangedLine(mark_of(job), entries, more))


def _holds(car: Car) -> Holds:
    return tuple((hold.get_cause_display(), when(hold.started_at)) for hold in car.holds)
