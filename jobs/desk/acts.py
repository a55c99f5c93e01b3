"""What the desk does to one car: each thing a form on a page of its own, which works alone.

A form that is refused is shown again with what was typed; hidden fields then follow the car as it
stands now, so that sending once more is a new decision and not the old one again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Caller
from core.api.serializers import StrictSerializer
from core.clock import now
from core.forms import Field, PageForm
from core.problems import Conflict, InvalidRequest
from jobs.desk.base import DeskPage, back_from
from jobs.desk.selectors.car import car_of, hold_of
from jobs.work.calc.stages.machine import (
    Decision,
    Refusal,
    Stage,
    moves_from,
    refuse_closed,
    refuse_decision,
    refuse_work,
)
from jobs.work.inputs.holds import HoldInput, ReleaseInput
from jobs.work.inputs.jobs import LONGEST_REASON
from jobs.work.inputs.orders.orders import DeclineInput
from jobs.work.inputs.stages import CollectionInput, MoveInput
from jobs.work.models import Hold, Job
from jobs.work.problems import ConfirmationNeeded
from jobs.work.selectors.curing.clocks import halted_on, to_feel, waits, waits_until
from jobs.work.services.holds import hold_begin, hold_release
from jobs.work.services.orders.orders import work_order_decide
from jobs.work.services.requests.changes import change_see
from jobs.work.services.stages.moves import car_arrive, car_collect, stage_move

Given = Mapping[str, Any]
CONFIRM = Field("confirm", "Confirmed", "hidden")  # filled in once the question was shown
HELD = Refusal("held", "The car is on hold.", "Release what holds it first.")


def car_address(job_id: UUID) -> str:
    """Return the address of a car's page at the desk."""
    return reverse("desk_car", kwargs={"job_id": job_id})


class CarAct(DeskPage):
    """One thing done to one car by a form; a subclass says what it asks and what it does."""

    serializer: ClassVar[type[StrictSerializer]]
    title: ClassVar[str]
    button: ClassVar[str]
    stops: ClassVar[bool] = False
    here: ClassVar[str] = "desk"

    def find(self, job: Job, **which: Any) -> Any:
        """Return what of the car it is about. Raises NotFound."""
        del job, which

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        """Return why it cannot be done to the car now; the form is not shown then."""
        del about
        return refuse_closed(job.state)

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        """Return what to know before deciding: names and values; a moment is shown as one."""
        del job, about
        return ()

    def caution(self, job: Job, about: Any) -> str:
        """Return the caution that goes with it."""
        del job, about
        return ""

    def fields(self, job: Job, about: Any) -> list[Field]:
        """Return the fields of the form."""
        raise NotImplementedError

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        """Do it and return the sentence that says what was done."""
        raise NotImplementedError

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID, **which: Any) -> HttpResponse:
        """Show the form."""
        job = car_of(caller, job_id)
        about = self.find(job, **which)
        form = PageForm(self.serializer, self.fields(job, about))
        return self.shown(request, caller, job=job, about=about, form=form)

    def post(
        self, request: HttpRequest, caller: Caller, job_id: UUID, **which: Any
    ) -> HttpResponse:
        """Do it, and go back to the car or to the list it was asked from."""
        job = car_of(caller, job_id)
        about = self.find(job, **which)
        form = PageForm(self.serializer, self.fields(job, about), typed=request.POST)
        if not form.is_valid():
            return self.shown(request, caller, job=job, about=about, form=form, status=400)
        try:
            message = self.act(caller, job, about, form.values)
        except (Conflict, InvalidRequest) as problem:
            job = car_of(caller, job_id)
            self.renew(form, job, about)
            asks = isinstance(problem, ConfirmationNeeded)
            if asks:
                form.fields["confirm"] = replace(form.fields["confirm"], value="true")
            else:
                form.add_problem(problem)
            return self.shown(
                request,
                caller,
                job=job,
                about=about,
                form=form,
                status=problem.status,
                question=problem.detail if asks else "",
            )
        return self.done(request, back_from(request, car_address(job_id)), message)

    def renew(self, form: PageForm, job: Job, about: Any) -> None:
        """Set the hidden fields to how the car stands now."""
        for field in self.fields(job, about):
            if field.kind == "hidden":
                form.fields[field.name] = replace(form.fields[field.name], value=field.value)

    def shown(
        self,
        request: HttpRequest,
        caller: Caller,
        *,
        job: Job,
        about: Any,
        form: PageForm,
        status: int = 200,
        question: str = "",
    ) -> HttpResponse:
        """Render the form with what it is about; `question`: what is open, to be confirmed."""
        return self.page(
            request,
            caller,
            "jobs/desk/act.html",
            status=status,
            here=self.here,
            job=job,
            form=form,
            fields=list(form.fields.values()),
            facts=self.facts(job, about),
            caution=self.caution(job, about),
            question=question,
            refusal=self.refusal(job, about),
            title=self.title,
            button=f"Yes: {self.button[0].lower()}{self.button[1:]}" if question else self.button,
            stops=self.stops,
        )


def reason_field(label: str, *, required: bool = False, hint: str = "") -> Field:
    """Return the field of a reason."""
    return Field("reason", label, "textarea", hint=hint, required=required, longest=LONGEST_REASON)


class Accept(DeskPage):
    """Accept an order: one tap."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Accept it; tapped again, the first one stands."""
        job = car_of(caller, job_id)
        if job.decision != Decision.ACCEPTED:
            work_order_decide(caller=caller, job_id=job_id, accept=True, occurred_at=now())
        return self.done(
            request,
            back_from(request, car_address(job_id)),
            f"{job} is accepted; the dealer has been told.",
        )


class Decline(CarAct):
    """Decline an order with a reason."""

    serializer = DeclineInput
    title, button, stops = "Decline the order", "Decline the order", True

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del about
        return refuse_decision(job.state)

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [reason_field("Why", required=True, hint="The dealer reads it.")]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        del about
        work_order_decide(
            caller=caller,
            job_id=job.pk,
            accept=False,
            reason=values["reason"],
            occurred_at=now(),
        )
        return f"{job} is declined; the dealer has been told why."


class Arrive(DeskPage):
    """Book a car in that has come: one tap."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Record that it is here; tapped again, the first one stands."""
        job = car_of(caller, job_id)
        if job.arrived_at is None:
            car_arrive(caller=caller, job_id=job_id, occurred_at=now())
        return self.done(request, car_address(job_id), f"{job} is here.")


class SeeChange(DeskPage):
    """Mark a change of the dealer's as seen: one tap."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID, number: int) -> HttpResponse:
        """Record it."""
        change_see(caller=caller, job_id=job_id, number=number, occurred_at=now())
        return self.done(
            request,
            back_from(request, car_address(job_id)),
            "The change is marked as seen; the dealer has been told.",
        )


class Move(CarAct):
    """Move a car to another stage; a manager may let it pass a running clock."""

    serializer = MoveInput
    title, button = "Move the car", "Move the car"

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del about
        return refuse_work(job.state) or (HELD if job.open_holds else None)

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del about
        until, felt = waits_until(job), to_feel(job)
        facts: list[tuple[str, Any]] = [("Cures or dries until", until)] if until else []
        facts += [("Stands still, no end known", halted_on(job))] if halted_on(job) else []
        facts += [("Nobody has felt yet whether it is dry", felt)] if felt else []
        return [("Stage now", job.stage), *facts]

    def caution(self, job: Job, about: Any) -> str:
        del about
        if not waits(job):
            return ""
        return (
            "Something on this car still cures, dries or flashes off. What the product's data "
            "sheet asks for comes first; an override is recorded with your name and told to the "
            "dealer."
        )

    def fields(self, job: Job, about: Any) -> list[Field]:
        del about
        stages = [
            (move.to.value, f"{move.to.value}{' again (rework)' if move.back else ''}")
            for move in moves_from(job.state)
        ]
        running = waits(job)
        override = Field(
            "override",
            "Let it go on although something still cures or dries (override)",
            "checkbox",
        )
        back = "Needed where the car goes back"
        return [
            Field("to", "Where to", "choice", required=True, choices=stages),
            *([override] if running else []),
            reason_field("Reason", hint=f"{back}, and for an override." if running else f"{back}."),
            Field("version", "State seen", "hidden", value=job.version),
            CONFIRM,
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        del about
        stage_move(
            caller=caller,
            job_id=job.pk,
            to=Stage(values["to"]),
            made_against=values["version"],
            occurred_at=now(),
            reason=values.get("reason", ""),
            override=values.get("override", False),
            confirm=values.get("confirm", False),
        )
        return f"{job} is in {values['to']} now."


class Collect(CarAct):
    """Record that the car was taken away."""

    serializer = CollectionInput
    title, button = "The car was collected", "Record that it was collected"

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del about
        if job.arrived_at is None:
            return Refusal("not_arrived", "The car has not arrived.", "Record its arrival first.")
        if job.collected_at is not None:
            return Refusal("collected", "The car was collected.", "Nothing is to be done.")
        return None

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        hint = (
            "Needed where the car is not ready, where things found in it are still here, or where "
            "the dealer has not acknowledged that it must not be driven."
        )
        return [reason_field("Reason", hint=hint), CONFIRM]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        del about
        car_collect(
            caller=caller,
            job_id=job.pk,
            occurred_at=now(),
            reason=values.get("reason", ""),
            confirm=values.get("confirm", False),
        )
        return f"{job} is collected."


class PutOnHold(CarAct):
    """Put a car on hold."""

    serializer = HoldInput
    title, button = "Put the car on hold", "Put on hold"

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del about
        return refuse_work(job.state)

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        causes = [(value, str(label)) for value, label in Hold.Cause.choices]
        return [
            Field("cause", "What it waits for", "choice", required=True, choices=causes),
            reason_field("More about it", hint="What exactly, and from whom."),
        ]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        del about
        hold_begin(
            caller=caller,
            job_id=job.pk,
            cause=values["cause"],
            occurred_at=now(),
            reason=values.get("reason", ""),
        )
        return f"{job} is on hold; its working clock stands."


class Release(CarAct):
    """End a hold."""

    serializer = ReleaseInput
    title, button = "Release the hold", "Release the hold"

    def find(self, job: Job, **which: Any) -> Hold:
        return hold_of(job, which["hold_id"])

    def refusal(self, job: Job, about: Any) -> Refusal | None:
        del job
        if about.ended_at is None:
            return None
        return Refusal("released", "This hold has ended.", "Nothing is to be done.")

    def facts(self, job: Job, about: Any) -> Sequence[tuple[str, Any]]:
        del job
        why = [("Because", about.reason)] if about.reason else []
        return [("Waits for", about.get_cause_display()), ("Since", about.started_at), *why]

    def fields(self, job: Job, about: Any) -> list[Field]:
        del job, about
        return [reason_field("Why it goes on", hint="If you like.")]

    def act(self, caller: Caller, job: Job, about: Any, values: Given) -> str:
        hold_release(
            caller=caller,
            job_id=job.pk,
            hold_id=about.pk,
            occurred_at=now(),
            reason=values.get("reason", ""),
        )
        return f"{job} is released from waiting for {about.get_cause_display()}."
