"""How a car reads on the dealer's pages: where it is, what it waits for, when it is wanted back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.timezone import localtime

from jobs.work.calc.stages.machine import Decision, Stage
from jobs.work.models import Finding, Hold, Job
from jobs.work.selectors.curing.clocks import halted_on, to_feel, waits_until

STAGE_NAMES = {
    Stage.INTAKE: "intake",
    Stage.CLEANING: "cleaning",
    Stage.CORRECTION: "correction",
    Stage.CURING: "curing",
    Stage.READY: "ready",
}
# The places a car passes, in order, with the heading over the cars that are there.
AWAITED, COMING, GONE = "awaited", "coming", "gone"
PLACES = {
    AWAITED: "Waiting for the workshop to take it on",
    COMING: "Not at the workshop yet",
    Stage.INTAKE.value: "Intake",
    Stage.CLEANING.value: "Cleaning",
    Stage.CORRECTION.value: "Correction",
    Stage.CURING.value: "Curing",
}
LATE, TODAY = "late", "today"


def place_of(job: Job) -> str:
    """Return where a car is: a key of PLACES, "ready", or GONE."""
    if not job.is_open:
        return GONE
    if job.decision == Decision.AWAITED:
        return AWAITED
    return COMING if job.arrived_at is None else job.stage


def still_there(job: Job) -> bool:
    """Return whether a cancelled car stands at the workshop and has to be taken away."""
    return bool(job.cancelled_at and job.arrived_at and not job.collected_at)


def state_words(job: Job) -> str:
    """Return in a few words where a car is."""
    if job.collected_at:
        return "collected"
    if job.cancelled_at:
        return "cancelled, still at the workshop" if still_there(job) else "cancelled"
    if job.decision == Decision.DECLINED:
        return "declined by the workshop"
    place = place_of(job)
    if place == AWAITED:
        return "waiting for the workshop to take it on"
    return "not at the workshop yet" if place == COMING else STAGE_NAMES[Stage(place)]


def due_state(job: Job, at: datetime) -> str:
    """Return "late" or "today" where the time a car is wanted back is past or near."""
    if job.due_at is None or place_of(job) in {GONE, Stage.READY.value}:
        return ""
    if job.due_at < at:
        return LATE
    return TODAY if localtime(job.due_at).date() == localtime(at).date() else ""


@dataclass(frozen=True, slots=True)
class Step:
    """One stage on a car's way: `state` is done, now or to come."""

    name: str
    state: str


def steps_of(job: Job) -> list[Step]:
    """Return the stages with how far the car is; before it has arrived none is begun."""
    order = list(Stage)
    here = order.index(Stage(job.stage)) if job.arrived_at else -1
    words = ["done"] * max(here, 0) + (["now"] if here >= 0 else [])
    words += ["to come"] * (len(order) - len(words))
    return [Step(STAGE_NAMES[stage], word) for stage, word in zip(order, words, strict=True)]


@dataclass(frozen=True, slots=True)
class Car:
    """A car as a line of the board shows it."""

    job: Job
    at: datetime
    holds: Sequence[Hold] = ()
    stops: Sequence[Finding] = ()

    @property
    def place(self) -> str:
        """Return where it is."""
        return place_of(self.job)

    @property
    def words(self) -> str:
        """Return where it is, in words."""
        return state_words(self.job)

    @property
    def due(self) -> str:
        """Return whether it is late or due today."""
        return due_state(self.job, self.at)

    @property
    def must_not_be_driven(self) -> bool:
        """Return whether a finding keeps it off the road; knowing of it does not put it right."""
        return self.job.do_not_drive

    @property
    def waits_until(self) -> datetime | None:
        """Return when the last of what cures or dries on it is done, where that is to come."""
        return waits_until(self.job)

    @property
    def halted(self) -> str:
        """Return what on it stands still, so that nobody can say when it is done."""
        return halted_on(self.job)

    @property
    def not_felt(self) -> bool:
        """Return whether something on it ought to be dry by now, and nobody has felt it."""
        return bool(to_feel(self.job))

    @property
    def ended_at(self) -> datetime | None:
        """Return when it was collected or the order ended."""
        return self.job.collected_at or self.job.cancelled_at or self.job.updated_at

    @property
    def name(self) -> str:
        """Return what the car is called in a list: make, model and colour."""
        parts = (self.job.make, self.job.model, self.job.colour)
        return " ".join(part for part in parts if part)
