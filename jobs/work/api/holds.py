"""Holds over HTTP."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, caller_of
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import JobOutput
from jobs.work.api.orders import job_answer
from jobs.work.api.stages import THE_JOB, WORK
from jobs.work.inputs.holds import HoldInput, ReleaseInput
from jobs.work.services.holds import hold_begin, hold_release


class Holds(ApiView):
    """Waits."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="job_hold",
        tags=["work"],
        request=HoldInput,
        responses={201: JobOutput},
        examples=[
            sent("Parts to come", {"cause": "parts", "reason": "Wheel trim to come."}),
            answered("The job", {**examples.JOB, "on_hold": True, "allowed_moves": []}, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Put the job on hold; its working clock stops until every hold is released."""
        values = self.read(HoldInput, request)
        caller = caller_of(request)
        job = hold_begin(
            caller=caller,
            job_id=job_id,
            cause=values["cause"],
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
            made_against=values.get("version"),
        )
        return job_answer(job, caller, 201)


class HoldRelease(ApiView):
    """The end of a wait."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="job_release",
        tags=["work"],
        request=ReleaseInput,
        responses={200: JobOutput},
        examples=[sent("The trim came", {"reason": "Trim came."}), THE_JOB],
    )
    def post(self, request: Request, job_id: UUID, hold_id: UUID) -> Response:
        """Release one hold; `GET /jobs/{job_id}` lists them.

        The hold of a finding "do not drive" ends only when that is cleared or withdrawn.
        """
        values = self.read(ReleaseInput, request)
        caller = caller_of(request)
        job = hold_release(
            caller=caller,
            job_id=job_id,
            hold_id=hold_id,
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
            made_against=values.get("version"),
        )
        return job_answer(job, caller)


urlpatterns = [
    path("jobs/<uuid:job_id>/holds", Holds.as_view()),
    path("jobs/<uuid:job_id>/holds/<uuid:hold_id>/release", HoldRelease.as_view()),
]
