"""The desk's side of requests for extra work: proposed with a price, replied to, withdrawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.utils.timezone import localtime

from accounts.caller import Caller
from core.clock import instant_of, now
from core.forms import Field
from core.problems import InvalidRequest
from jobs.desk.acts import CarAct, Given, reason_field
from jobs.desk.selectors.car import proposed_already, request_about
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.car.views import VIEWS
from jobs.work.calc.catalogue.operations import Operation
from jobs.work.calc.stages.machine import Refusal, refuse_work
from jobs.work.inputs.requests import LONGEST_MESSAGE, ReplyInput, RequestInput, WithdrawInput
from jobs.work.models import Job, Photo, RequestMessage, WorkRequest
from jobs.work.problems import closing_words
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.photographs import photos_of
from jobs.work.services.requests.requests import (
    Proposal,
    request_open,
    request_reply,
    request_withdraw,
)

# When an answer is wanted unless somebody says otherwise. Common practice, no source.
ANSWER_DAYS, ANSWER_HOUR = 1, 17


def photo_words(photo: Photo) -> str:
    """Return what a picture shows, in words."""
    place = VIEWS.get(photo.view) or (AREAS[photo.area].name if photo.area in AREAS else "")
    shown = photo.caption or place or "a picture"
    return f"{shown}, {photo.get_moment_display()}"


@dataclass(frozen=True, slots=True)
class Offered:
    """What can be named in a proposal: pictures of the car, and what the workshop does."""

    photos: Sequence[Photo]
    work: Sequence[Operation]


class Ask(CarAct):
    """Propose extra work to the dealer, with a price."""

    serializer = RequestInput
    title, button = "Propose extra work", "Send it to the dealer"

    def find(self, job: Job, **which: Any) -> Offered:
        del which
        work = catalogue_of(job.workshop_id).shown_operations()
        return Offered(list(photos_of(job)), work)

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del about
        return refuse_work(job.state)

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job
        today = localtime(now()).date()
        until = instant_of(today + timedelta(days=ANSWER_DAYS), ANSWER_HOUR)
        work = [(operation.code, operation.name) for operation in about.work]
        fields = [
            Field("what", "What you propose", required=True, longest=200),
            Field("why", "Why", "textarea", required=True, longest=1000),
            Field("if_not_done", "What happens if it is not done", required=True, longest=500),
            Field(
                "operations",
                "The work",
                "checks",
                hint="An approval makes each of these a task.",
                choices=work,
            ),
            Field("minutes", "Minutes in all", "number", required=True),
            Field("price", f"Price in {settings.CURRENCY}", hint="As in 64.00; empty: not named."),
            Field(
                "answer_by",
                "Answer wanted by",
                "datetime",
                required=True,
                hint="Without an answer by then the request lapses.",
                value=until,
            ),
            Field("hold", "The car waits for the answer", "checkbox"),
        ]
        if about.photos:
            shown = [(str(photo.pk), photo_words(photo)) for photo in about.photos]
            fields.append(Field("photo_ids", "Pictures to show", "checks", choices=shown))
        return fields

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        known = {operation.code for operation in about.work}
        if unknown := [code for code in values["operations"] if code not in known]:
            message = f"Not offered any more: {', '.join(unknown)}. Choose from the list."
            raise InvalidRequest(message, errors=[{"field": "operations", "message": message}])
        proposal = Proposal(**values)
        if not proposed_already(job, proposal):
            request_open(caller=caller, job_id=job.pk, proposal=proposal)
        return f"{job}: the dealer is asked. {values['what']}"


class AboutRequest(CarAct):
    """Something done to one request."""

    here = "waiting"

    def find(self, job: Job, **which: Any) -> WorkRequest:
        return request_about(job, which["request_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del job
        if about.state == WorkRequest.State.OPEN:
            return None
        said = f"This request is {about.state}: {closing_words(about)}"
        return Refusal(about.state, said, "Propose it again if it is still wanted.")

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        price = "not named" if about.price is None else f"{about.price} {about.currency}"
        said = [
            (
                job.dealer.name if message.side == RequestMessage.Side.DEALER else "We replied",
                message.text,
            )
            for message in sorted(about.messages.all(), key=lambda message: message.pk)
        ]
        return [
            ("Proposed", about.what),
            ("Price", price),
            ("Minutes", about.minutes),
            ("Answer wanted by", about.answer_by),
            *said,
        ]


class Reply(AboutRequest):
    """Reply to the dealer's question."""

    serializer = ReplyInput
    title, button = "Reply to the dealer's question", "Send the reply"

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [
            Field("text", "Your reply", "textarea", required=True, longest=LONGEST_MESSAGE),
            Field(
                "answer_by",
                "Answer wanted by",
                "datetime",
                hint="Leave it empty where the time that was given is enough.",
            ),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        request_reply(
            caller=caller,
            request_id=about.pk,
            text=values["text"],
            answer_by=values.get("answer_by"),
            occurred_at=now(),
        )
        return f"{job}: the reply is sent."


class Withdraw(AboutRequest):
    """Withdraw a request that is not answered."""

    serializer = WithdrawInput
    title, button, stops = "Withdraw the request", "Withdraw the request", True

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [reason_field("Why", required=True, hint="The dealer reads it.")]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        request_withdraw(
            caller=caller, request_id=about.pk, reason=values["reason"], occurred_at=now()
        )
        return f"{job}: the request is withdrawn."
