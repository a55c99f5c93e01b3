"""What waits on whom, and what to do about each."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Caller
from core.clock import now
from jobs.desk.acts import car_address
from jobs.desk.base import DeskPage
from jobs.desk.selectors.waiting import Awaited, Waiting, Whom, waiting_of
from jobs.work.models import Job

TITLES = {
    Whom.DEALER: "On the dealer",
    Whom.US: "On us",
    Whom.TIME: "On time",
}
NOTHING = {
    Whom.DEALER: "No dealer owes you an answer or a part.",
    Whom.US: "Nobody waits for you.",
    Whom.TIME: "Nothing cures, dries or waits for parts or weather.",
}


@dataclass(frozen=True, slots=True)
class Advice:
    """What waits in words, what to do about it, and the name of the page where that is done.

    `one_tap`: the page takes it at once, by a button.
    """

    words: str
    todo: str
    page: str = ""
    button: str = "Open the car"
    ref: str = ""
    one_tap: bool = False


ADVICE = {
    Awaited.DO_NOT_DRIVE: Advice(
        "Do not drive; the dealer has not acknowledged it",
        "Ring the dealer now, then write down whom you told. Nobody moves the car until it is "
        "repaired or transported.",
        "desk_told",
        "Told by telephone",
        "finding_id",
    ),
    Awaited.NOT_CLEARED: Advice(
        "Do not drive; the dealer knows, and nobody repairs or transports it yet",
        "Ask the dealer who repairs or transports it, and record that. Nobody moves it before.",
        "desk_clear",
        "Repaired, or to be transported",
        "finding_id",
    ),
    Awaited.FINDINGS: Advice(
        "Findings not acknowledged",
        "The dealer sees them on its pages. Ring where the sale depends on them.",
    ),
    Awaited.REQUEST: Advice(
        "No answer to your request",
        "Ring the dealer, or withdraw it where the car cannot wait.",
        "desk_withdraw",
        "Withdraw",
        "request_id",
    ),
    Awaited.SUPPLIED: Advice(
        "Not brought yet, the dealer supplies it",
        "Ask when it comes; tick it off on the tablet when it is here.",
    ),
    Awaited.DECISION_HOLD: Advice(
        "On hold for the dealer's decision",
        "Ring the dealer, then release the hold.",
        "desk_release",
        "Release",
        "hold_id",
    ),
    Awaited.ORDER: Advice(
        "A new order to accept or decline",
        "Accept it, or open the car and decline it with a reason.",
        "desk_accept",
        "Accept",
        one_tap=True,
    ),
    Awaited.QUESTION: Advice(
        "The dealer asks",
        "Reply; the dealer's answer waits for it.",
        "desk_reply",
        "Reply",
        "request_id",
    ),
    Awaited.CHANGE: Advice(
        "The dealer changed the order",
        "Look at the car, tell whoever works on it, then mark it as seen.",
        "desk_seen",
        "Seen",
        "number",
        one_tap=True,
    ),
    Awaited.BELONGING: Advice(
        "Found in the car, to be given back",
        "Have it signed for when somebody fetches it.",
        "desk_give_back",
        "Give back",
        "belonging_id",
    ),
    Awaited.LEAVING: Advice(
        "Walk-round on leaving not recorded",
        "Do it on the tablet before the car goes.",
    ),
    Awaited.TOUCH: Advice(
        "Ought to be dry by now, and nobody has felt it",
        "Feel it and record the touch test; until then the car cannot become ready.",
        "desk_touch_test",
        "Felt it",
        "clock_id",
    ),
    Awaited.CLOCK: Advice(
        "Cures or dries",
        "Let it stand until it is done; the product's data sheet outranks our clock.",
    ),
    Awaited.HOLD: Advice(
        "On hold for",
        "Release it as soon as the wait is over.",
        "desk_release",
        "Release",
        "hold_id",
    ),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the page."""

    waiting: Waiting
    advice: Advice

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.waiting.job

    @property
    def link(self) -> str:
        """Return where it is done."""
        if not self.advice.page:
            return car_address(self.job.pk)
        about = {self.advice.ref: self.waiting.ref} if self.advice.ref else {}
        return reverse(self.advice.page, kwargs={"job_id": self.job.pk, **about})


@dataclass(frozen=True, slots=True)
class Section:
    """All that waits on one side."""

    code: str
    title: str
    nothing: str
    lines: Sequence[Line]


class DeskWaiting(DeskPage):
    """What waits on whom."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it, a section for each side."""
        waiting = waiting_of(caller, now())
        sections = [
            Section(
                whom.value,
                TITLES[whom],
                NOTHING[whom],
                [Line(wait, ADVICE[wait.what]) for wait in waiting[whom]],
            )
            for whom in Whom
        ]
        return self.page(
            request, caller, "jobs/desk/waiting.html", here="waiting", sections=sections
        )
