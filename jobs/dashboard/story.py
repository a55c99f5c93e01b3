"""One car's page: where it is, what was found, what is asked; acknowledged and answered here."""

from collections.abc import Mapping
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from rest_framework.exceptions import ValidationError

from accounts.caller import Access, Caller, Scope, dealers
from accounts.pages.base import PageView
from core.api.errors import field_errors
from core.clock import now
from core.problems import Problem
from jobs.dashboard.cars import due_state, state_words, steps_of, still_there
from jobs.dashboard.selectors import Story, story_of, to_acknowledge_on
from jobs.dashboard.told import (
    findings_told,
    paint_told,
    pairs_told,
    pictures_left,
    requests_told,
    rounds_told,
    waits_told,
)
from jobs.work.calc.findings import Weight
from jobs.work.inputs.requests import AnswerInput
from jobs.work.models import Hold, Job, Task
from jobs.work.problems import RequestClosed
from jobs.work.selectors.findings.findings import finding_of
from jobs.work.selectors.requests.requests import request_of
from jobs.work.services.findings.findings import finding_acknowledge
from jobs.work.services.requests.requests import APPROVE, ASK, DECLINE, request_answer
from jobs.work.words.jobs.history import sentence

READ, ORDER = dealers(Scope.READ), dealers(Scope.ORDER)
FROM_BOARD = "board"
LONGEST_WORD = 500
SAID = {
    APPROVE: "Approved: {what}. The workshop knows.",
    DECLINE: "Declined: {what}. The workshop knows.",
    ASK: "Your question is with the workshop: {what}.",
}


def about_car(story: Story) -> dict[str, Any]:
    """Return what the car's page says."""
    job, at = story.job, now()
    wanted = [task for task in story.tasks if task.state != Task.State.DROPPED]
    return {
        "job": job,
        "state": state_words(job),
        "still_there": still_there(job),
        "steps": steps_of(job),
        "due": due_state(job, at),
        "hold": _hold(job),
        **waits_told(story, at),
        "must_not_be_driven": job.do_not_drive,
        "tasks": wanted,
        "tasks_done": sum(task.state == Task.State.FINISHED for task in wanted),
        "findings": findings_told(story),
        "to_acknowledge": sum(
            finding.acknowledged_at is None and finding.weight != Weight.DO_NOT_DRIVE
            for finding in story.facts.findings
        ),
        "requests": requests_told(story),
        "pairs": pairs_told(story),
        "pictures": pictures_left(story),
        "history": [(entry, sentence(entry)) for entry in reversed(story.facts.entries)],
        "paint": paint_told(story),
        "longest_word": LONGEST_WORD,
        **rounds_told(story.walk_rounds),
    }


def _hold(job: Job) -> dict[str, Any]:
    """Return what the car waits for; it came with the car, as `story_of` says."""
    cause = getattr(job, "hold_cause", None)
    if not cause:
        return {}
    return {
        "cause": Hold.Cause(cause).label,
        "reason": getattr(job, "hold_reason", ""),
        "since": getattr(job, "hold_since", None),
        "more": job.open_holds - 1,
    }


class CarView(PageView):
    """What is about one car, and shows it or leads back to it."""

    def car(
        self, request: HttpRequest, caller: Caller, job_id: UUID, status: int = 200, **more: Any
    ) -> HttpResponse:
        """Show one car, with what went wrong where something did."""
        about = about_car(story_of(caller, job_id))
        template = "jobs/dashboard/car.html"
        return self.page(
            request, caller, template, status=status, here="dashboard", **about, **more
        )

    def back(self, request: HttpRequest, job_id: UUID, message: str) -> HttpResponse:
        """Go back to where the button was pressed."""
        if request.GET.get("from") == FROM_BOARD:
            return self.done(request, reverse("dashboard"), message)
        return self.done(request, reverse("dashboard_car", args=[job_id]), message)


class CarPage(CarView):
    """The page."""

    access: ClassVar[dict[str, Access]] = {"GET": READ}

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show one car."""
        return self.car(request, caller, job_id)


class FindingSeen(CarView):
    """A finding acknowledged with one tap; tapped twice, the first stands."""

    access: ClassVar[dict[str, Access]] = {"POST": ORDER}

    def post(self, request: HttpRequest, caller: Caller, finding_id: UUID) -> HttpResponse:
        """Acknowledge it."""
        finding = finding_of(caller, finding_id)
        finding_acknowledge(caller=caller, finding_id=finding.pk, occurred_at=None)
        said = "Acknowledged."
        if finding.must_not_be_driven:
            said = "Acknowledged. Nobody moves the car until it is repaired or transported."
        return self.back(request, finding.job_id, said)


class FindingsSeen(CarView):
    """All that was found on one car acknowledged at once, but for what keeps it off the road."""

    access: ClassVar[dict[str, Access]] = {"POST": ORDER}

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Acknowledge them one by one: each stands as soon as it is done."""
        waiting = to_acknowledge_on(caller, job_id)
        for finding_id in waiting:
            finding_acknowledge(caller=caller, finding_id=finding_id, occurred_at=None)
        said = f"Acknowledged: {len(waiting)}." if waiting else "They were acknowledged before."
        return self.back(request, job_id, said)


class RequestAnswered(CarView):
    """A request approved, declined or asked about."""

    access: ClassVar[dict[str, Access]] = {"POST": ORDER}

    def post(self, request: HttpRequest, caller: Caller, request_id: UUID) -> HttpResponse:
        """Take the answer; one that came too late, or without its question, shows the car again."""
        asked = request_of(caller, request_id)
        word = request.POST.get("word", "").strip()
        answer = request.POST.get("answer", "")
        wrong = {"wrong_request": asked.pk, "typed": word}
        form = AnswerInput(data=_as_sent(answer, word))
        try:
            form.is_valid(raise_exception=True)
            self.answer(caller, request_id, form.validated_data)
        except ValidationError as error:
            said = [fault["message"] for fault in field_errors(error.detail)]
            if answer == ASK and not word:
                said = ["Write your question first, then press Ask."]
            return self.car(request, caller, asked.job_id, 400, said=said, **wrong)
        except RequestClosed as problem:
            return self.car(
                request, caller, asked.job_id, problem.status, said=_said(problem), **wrong
            )
        return self.back(request, asked.job_id, SAID[answer].format(what=asked.what))

    @staticmethod
    def answer(caller: Caller, request_id: UUID, values: Mapping[str, Any]) -> None:
        """Give the answer to the service."""
        note = values.get("question") or values.get("note", "")
        request_answer(
            caller=caller,
            request_id=request_id,
            answer=values["answer"],
            note=note,
            occurred_at=now(),
        )


def _as_sent(answer: str, word: str) -> dict[str, str]:
    """Return the answer as a system would send it."""
    if not word:
        return {"answer": answer}
    return {"answer": answer, ("question" if answer == ASK else "note"): word}


def _said(problem: Problem) -> list[str]:
    return [problem.detail, problem.next_step]
