"""Requests for extra work over HTTP, and the dealer's changes seen by the workshop."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Caller, Scope, caller_of, dealers, either, shown_to, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.orders import ScopeChangeOutput, scope_change
from jobs.work.answers.requests import examples
from jobs.work.answers.requests.outputs import RequestOutput, RequestsOutput
from jobs.work.inputs.catalogue import read_with_codes
from jobs.work.inputs.requests import (
    AnswerInput,
    ChangeSeenInput,
    ReplyInput,
    RequestInput,
    WithdrawInput,
)
from jobs.work.problems import RequestClosed
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.requests.requests import request_of, requests_of
from jobs.work.services.catalogue import work_refused
from jobs.work.services.requests.changes import change_see
from jobs.work.services.requests.closing import request_lapse
from jobs.work.services.requests.requests import (
    request_answer,
    request_open,
    request_reply,
    request_withdraw,
)

WORK = workshops(Scope.WORK)


def request_shown(caller: Caller, request_id: UUID, status: int = 200) -> Response:
    """Render a request as it stands now."""
    found = request_of(caller, request_id)
    return Response(RequestOutput(found, context=shown_to(caller)).data, status=status)


class JobRequests(ApiView):
    """The requests about a job."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ), "POST": WORK}

    @extend_schema(
        operation_id="request_list",
        tags=["requests"],
        responses={200: RequestsOutput},
        examples=[answered("One that was approved", {"requests": [examples.APPROVED]})],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """List the requests about a job, oldest first."""
        caller = caller_of(request)
        found = requests_of(caller, job_id)
        shown = RequestOutput.rows(found, shown_to(caller))
        return Response(RequestsOutput(requests=shown))

    @extend_schema(
        operation_id="request_open",
        tags=["requests"],
        request=RequestInput,
        responses={201: RequestOutput},
        examples=[
            sent("Marks on the bonnet", examples.PROPOSED),
            answered("The request", examples.OPEN, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Propose extra work to the dealer.

        The dealer answers over the API or by the link in its e-mails; without an answer by
        `answer_by` the request lapses. With `hold` the car waits meanwhile. A price needs the
        scope prices.read, and is shown only to callers who have it.
        """
        caller = caller_of(request)
        proposal = read_with_codes(
            RequestInput(data=request.data),
            lambda codes: work_refused(catalogue_of(caller.organisation_id), codes),
        )
        opened = request_open(caller=caller, job_id=job_id, proposal=proposal)
        return request_shown(caller, opened.pk, 201)


class RequestDetail(ApiView):
    """One request."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="request_read",
        tags=["requests"],
        responses={200: RequestOutput},
        examples=[answered("An open request", examples.OPEN)],
    )
    def get(self, request: Request, request_id: UUID) -> Response:
        """Read one request with its pictures, questions and replies."""
        return request_shown(caller_of(request), request_id)


class RequestWord(ApiView):
    """A word to a request, which may come too late."""

    def handle_exception(self, exc: Exception) -> Response:
        """Keep the lapse that a refusal tells of: under an Idempotency-Key it is undone by it."""
        if isinstance(exc, RequestClosed):
            request_lapse(request_id=self.kwargs["request_id"])
        return super().handle_exception(exc)


class RequestAnswer(RequestWord):
    """The dealer's answer."""

    access: ClassVar[dict[str, Access]] = {"POST": dealers(Scope.ORDER)}

    @extend_schema(
        operation_id="request_answer",
        tags=["requests"],
        request=AnswerInput,
        responses={200: RequestOutput},
        examples=[
            sent("Yes", {"answer": "approve", "note": "Please before Friday."}),
            sent("A question first", {"answer": "ask", "question": "Would a hand polish do?"}),
            answered("The request", examples.APPROVED),
        ],
    )
    def post(self, request: Request, request_id: UUID) -> Response:
        """Approve or decline a request, or ask something first.

        An approval makes each operation a task and raises the cap by the minutes, or by the
        price where the cap is an amount in the same currency. Either answer ends the hold that
        the request opened. One that was answered, lapsed or withdrawn: 409 with what stands.
        """
        values = self.read(AnswerInput, request)
        caller = caller_of(request)
        answered_request = request_answer(
            caller=caller,
            request_id=request_id,
            answer=values["answer"],
            note=values.get("question") or values.get("note", ""),
            occurred_at=values.get("occurred_at") or now(),
        )
        return request_shown(caller, answered_request.pk)


class RequestReply(RequestWord):
    """The workshop's reply to a question."""

    access: ClassVar[dict[str, Access]] = {"POST": WORK}

    @extend_schema(
        operation_id="request_reply",
        tags=["requests"],
        request=ReplyInput,
        responses={200: RequestOutput},
        examples=[
            sent(
                "A reply, and more time",
                {"text": examples.REPLY["text"], "answer_by": "2027-03-02T15:00:00Z"},
            ),
            answered("The request", examples.REPLIED),
        ],
    )
    def post(self, request: Request, request_id: UUID) -> Response:
        """Reply to the dealer's question; its e-mails get a fresh link."""
        values = self.read(ReplyInput, request)
        caller = caller_of(request)
        replied = request_reply(
            caller=caller,
            request_id=request_id,
            text=values["text"],
            answer_by=values.get("answer_by"),
            occurred_at=values.get("occurred_at") or now(),
        )
        return request_shown(caller, replied.pk)


class RequestWithdraw(RequestWord):
    """The workshop needs no answer any more."""

    access: ClassVar[dict[str, Access]] = {"POST": WORK}

    @extend_schema(
        operation_id="request_withdraw",
        tags=["requests"],
        request=WithdrawInput,
        responses={200: RequestOutput},
        examples=[
            sent("Not needed", {"reason": examples.WITHDRAWN["closed_note"]}),
            answered("The request", examples.WITHDRAWN),
        ],
    )
    def post(self, request: Request, request_id: UUID) -> Response:
        """Withdraw a request that is not answered yet."""
        values = self.read(WithdrawInput, request)
        caller = caller_of(request)
        withdrawn = request_withdraw(
            caller=caller,
            request_id=request_id,
            reason=values["reason"],
            occurred_at=values.get("occurred_at") or now(),
        )
        return request_shown(caller, withdrawn.pk)


class ChangeSeen(ApiView):
    """A change of the order, seen by the workshop."""

    access: ClassVar[dict[str, Access]] = {"POST": WORK}

    @extend_schema(
        operation_id="change_seen",
        tags=["requests"],
        request=ChangeSeenInput,
        responses={200: ScopeChangeOutput},
        examples=[
            sent("Seen", {"occurred_at": "2027-03-01T11:04:00Z"}),
            answered("The change", examples.CHANGE),
        ],
    )
    def post(self, request: Request, job_id: UUID, number: int) -> Response:
        """Mark a change as seen that the dealer made while the car was here.

        `changes_to_see` of the job lists them. Sent again, it answers who saw it first.
        """
        values = self.read(ChangeSeenInput, request)
        change = change_see(
            caller=caller_of(request),
            job_id=job_id,
            number=number,
            occurred_at=values.get("occurred_at") or now(),
        )
        return Response(scope_change(change))


urlpatterns = [
    path("jobs/<uuid:job_id>/requests", JobRequests.as_view()),
    path("jobs/<uuid:job_id>/changes/<int:number>/seen", ChangeSeen.as_view()),
    path("requests/<uuid:request_id>", RequestDetail.as_view()),
    path("requests/<uuid:request_id>/answer", RequestAnswer.as_view()),
    path("requests/<uuid:request_id>/reply", RequestReply.as_view()),
    path("requests/<uuid:request_id>/withdraw", RequestWithdraw.as_view()),
]
