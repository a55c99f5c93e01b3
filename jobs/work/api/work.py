"""What the workshop does with a car: arrival, moves, holds, tasks, collection."""

from typing import ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import JobOutput, TaskOutput
from jobs.work.api.orders import job_answer
from jobs.work.calc.stages.machine import Stage
from jobs.work.inputs.holds import HoldInput, ReleaseInput
from jobs.work.inputs.stages import ArrivalInput, CollectionInput, CorrectionInput, MoveInput
from jobs.work.inputs.tasks import TaskFinishInput, TaskInput, TaskStartInput
from jobs.work.models import Task
from jobs.work.services.holds import hold_begin, hold_release
from jobs.work.services.stages.corrections import job_correct
from jobs.work.services.stages.moves import car_arrive, car_collect, stage_move
from jobs.work.services.tasks.tasks import task_add, task_finish, task_start

WORK: dict[str, Access] = {"POST": workshops(Scope.WORK)}
THE_JOB = answered("The job", examples.JOB)


def task_answer(task: Task, status: int = 200) -> Response:
    """Render a task."""
    return Response(TaskOutput(task).data, status=status)


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
        given = self.read(ArrivalInput, request)
        caller = caller_of(request)
        job = car_arrive(
            caller=caller,
            job_id=job_id,
            occurred_at=given.get("occurred_at") or now(),
            made_against=given.get("version"),
            fuel=given.get("fuel", ""),
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
        given = self.read(MoveInput, request)
        caller = caller_of(request)
        job = stage_move(
            caller=caller,
            job_id=job_id,
            to=Stage(given["to"]),
            made_against=given["version"],
            occurred_at=given.get("occurred_at") or now(),
            reason=given.get("reason", ""),
            override=given.get("override", False),
            confirm=given.get("confirm", False),
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
        given = self.read(CollectionInput, request)
        caller = caller_of(request)
        job = car_collect(
            caller=caller,
            job_id=job_id,
            occurred_at=given.get("occurred_at") or now(),
            reason=given.get("reason", ""),
            confirm=given.get("confirm", False),
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
        given = self.read(CorrectionInput, request)
        caller = caller_of(request)
        job = job_correct(
            caller=caller,
            job_id=job_id,
            made_against=given["version"],
            occurred_at=given.get("occurred_at") or now(),
            reason=given.get("reason", ""),
        )
        return job_answer(job, caller)


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
        given = self.read(HoldInput, request)
        caller = caller_of(request)
        job = hold_begin(
            caller=caller,
            job_id=job_id,
            cause=given["cause"],
            occurred_at=given.get("occurred_at") or now(),
            reason=given.get("reason", ""),
            made_against=given.get("version"),
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
        given = self.read(ReleaseInput, request)
        caller = caller_of(request)
        job = hold_release(
            caller=caller,
            job_id=job_id,
            hold_id=hold_id,
            occurred_at=given.get("occurred_at") or now(),
            reason=given.get("reason", ""),
            made_against=given.get("version"),
        )
        return job_answer(job, caller)


class Tasks(ApiView):
    """Operations on the job."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="task_add",
        tags=["work"],
        request=TaskInput,
        responses={201: TaskOutput},
        examples=[
            sent("Dog hair", {"operation": "pet_hair", "planned_minutes": 30}),
            answered("The task", {**examples.TASK, "state": "wanted"}, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Add an operation to the job."""
        given = self.read(TaskInput, request)
        task = task_add(
            caller=caller_of(request),
            job_id=job_id,
            operation=given["operation"],
            occurred_at=given.get("occurred_at") or now(),
            planned_minutes=given.get("planned_minutes"),
            note=given.get("note", ""),
        )
        return task_answer(task, 201)


class TaskStart(ApiView):
    """Work on a task begins."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="task_start",
        tags=["work"],
        request=TaskStartInput,
        responses={200: TaskOutput},
        examples=[
            sent("Start", {"occurred_at": "2027-03-01T08:30:00Z"}),
            answered("The task", {**examples.TASK, "state": "started", "finished_at": None}),
        ],
    )
    def post(self, request: Request, job_id: UUID, task_id: UUID) -> Response:
        """Start a task, or join somebody on it; a finished one is taken up again."""
        given = self.read(TaskStartInput, request)
        task = task_start(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            occurred_at=given.get("occurred_at") or now(),
            person_id=given.get("person_id"),
        )
        return task_answer(task)


class TaskFinish(ApiView):
    """Work on a task ends."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="task_finish",
        tags=["work"],
        request=TaskFinishInput,
        responses={200: TaskOutput},
        examples=[
            sent("Finish", {"occurred_at": "2027-03-01T09:02:00Z"}),
            answered("The task", examples.TASK),
        ],
    )
    def post(self, request: Request, job_id: UUID, task_id: UUID) -> Response:
        """Finish a task for everybody on it; with done=false only your own time on it ends.

        Actual minutes are person-minutes with the holds taken out. What the operation leaves to
        cure or dry starts its clock now.
        """
        given = self.read(TaskFinishInput, request)
        task = task_finish(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            occurred_at=given.get("occurred_at") or now(),
            done=given.get("done", True),
            person_id=given.get("person_id"),
            note=given.get("note", ""),
        )
        return task_answer(task)
