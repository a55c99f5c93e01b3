"""The way of a car over HTTP: arrival, moves, collection, and their correction."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import JobOutput
from jobs.work.api.orders import job_answer
from jobs.work.calc.stages.machine import Stage
from jobs.work.inputs.stages import ArrivalInput, CollectionInput, CorrectionInput, MoveInput
from jobs.work.services.stages.corrections import job_correct
from jobs.work.services.stages.moves import car_arrive, car_collect, stage_move

WORK: dict[str, Access] = {"POST": workshops(Scope.WORK)}
THE_JOB = answered("The job", examples.JOB)


class Arrival(ApiView):
    """The car is here."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="job_arrival",
        tags=["work"],
        request=ArrivalInput,
        responses={200: JobOutput},
        examples=[
            sent("It is here", {"occurred_at": "2027-03-01T08:05:00Z", "fuel": "petrol"}),
            THE_JOB,
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record that the car arrived."""
        values = self.read(ArrivalInput, request)
        caller = caller_of(request)
        job = car_arrive(
            caller=caller,
            job_id=job_id,
            occurred_at=values.get("occurred_at") or now(),
            made_against=values.get("version"),
            fuel=values.get("fuel", ""),
        )
        return job_answer(job, caller)


class Moves(ApiView):
    """From stage to stage."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="job_move",
        tags=["work"],
        request=MoveInput,
        responses={200: JobOutput},
        examples=[sent("On to cleaning", {"to": "cleaning", "version": 3}), THE_JOB],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Move the car to another stage.

        `version` is the one you saw. A stale version, a move that is not allowed, a hold or a
        running clock gives 409 with the current state and the moves that are allowed. To ready with
        tasks open gives 409 `confirmation-needed` with what is open; send it again with `confirm`.
        """
        values = self.read(MoveInput, request)
        caller = caller_of(request)
        job = stage_move(
            caller=caller,
            job_id=job_id,
            to=Stage(values["to"]),
            made_against=values["version"],
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
            override=values.get("override", False),
            confirm=values.get("confirm", False),
        )
        return job_answer(job, caller)


class Collection(ApiView):
    """The car leaves."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="job_collection",
        tags=["work"],
        request=CollectionInput,
        responses={200: JobOutput},
        examples=[sent("Collected", {"occurred_at": "2027-03-02T09:00:00Z"}), THE_JOB],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record that the car was collected.

        A reason is needed where it is not ready, where things found in it are still here
        (`belongings_here`), and where the dealer has not acknowledged that it must not be driven
        (`not_acknowledged`). What was left open is kept with the reason.

        With tasks open, no walk-round on leaving, or a "do not drive" that is known and not
        repaired, the answer is 409 `confirmation-needed` with what is open; send it again with
        `confirm`.
        """
        values = self.read(CollectionInput, request)
        caller = caller_of(request)
        job = car_collect(
            caller=caller,
            job_id=job_id,
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
            confirm=values.get("confirm", False),
        )
        return job_answer(job, caller)


class Corrections(ApiView):
    """The record put right."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.OVERRIDE)}

    @extend_schema(
        operation_id="job_correct",
        tags=["work"],
        request=CorrectionInput,
        responses={200: JobOutput},
        examples=[sent("It was not ready", {"version": 7, "reason": "Wrong car."}), THE_JOB],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Undo the last step of the car that stands: an arrival, a move or a collection.

        For managers. It is history of its own (`corrected`), counts as no rework, and goes as
        `job.corrected` to everybody who takes what was told wrongly. Where it cannot be undone, 409
        says why: the order was cancelled after it, work was recorded on the car, or the dealer has
        sent the car again. A hold ends by its release, a task is corrected on the task.
        """
        values = self.read(CorrectionInput, request)
        caller = caller_of(request)
        job = job_correct(
            caller=caller,
            job_id=job_id,
            made_against=values["version"],
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
        )
        return job_answer(job, caller)


urlpatterns = [
    path("jobs/<uuid:job_id>/arrival", Arrival.as_view()),
    path("jobs/<uuid:job_id>/moves", Moves.as_view()),
    path("jobs/<uuid:job_id>/collection", Collection.as_view()),
    path("jobs/<uuid:job_id>/corrections", Corrections.as_view()),
]
