"""Tasks over HTTP."""

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
from jobs.work.answers.jobs.outputs import TaskOutput
from jobs.work.api.stages import WORK
from jobs.work.inputs.tasks import TaskFinishInput, TaskInput, TaskStartInput
from jobs.work.models import Task
from jobs.work.services.tasks.tasks import task_add, task_finish, task_start


def task_answer(task: Task, status: int = 200) -> Response:
    """Render a task."""
    return Response(TaskOutput(task).data, status=status)


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
        values = self.read(TaskInput, request)
        task = task_add(
            caller=caller_of(request),
            job_id=job_id,
            operation=values["operation"],
            occurred_at=values.get("occurred_at") or now(),
            planned_minutes=values.get("planned_minutes"),
            note=values.get("note", ""),
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
        values = self.read(TaskStartInput, request)
        task = task_start(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            occurred_at=values.get("occurred_at") or now(),
            person_id=values.get("person_id"),
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
        values = self.read(TaskFinishInput, request)
        task = task_finish(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            occurred_at=values.get("occurred_at") or now(),
            done=values.get("done", True),
            person_id=values.get("person_id"),
            note=values.get("note", ""),
        )
        return task_answer(task)


urlpatterns = [
    path("jobs/<uuid:job_id>/tasks", Tasks.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/start", TaskStart.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/finish", TaskFinish.as_view()),
]
