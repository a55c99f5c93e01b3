"""How long work takes, over HTTP: figures, a car's estimate, doubtful minutes, dirt at intake."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.minutes import examples
from jobs.work.answers.minutes.outputs import (
    DurationsOutput,
    EstimateOutput,
    SoilingLevelsOutput,
    SoilingOutput,
    TaskMinutesOutput,
    durations_shown,
    estimate_shown,
    level_shown,
    soiling_shown,
)
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.inputs.minutes import DurationsQuery, MinutesInput, SoilingInput
from jobs.work.selectors.minutes import Asked, durations_of, estimate_of
from jobs.work.services.minutes.confirming import minutes_tell, soiling_note


class WorkshopDurations(ApiView):
    """How long work takes here."""

    access: ClassVar[dict[str, Access]] = {"GET": workshops(Scope.READ)}
    query_names = frozenset({"operation", "body_size", "soiling", "person"})
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"GET": ("404",)}

    @extend_schema(
        operation_id="duration_list",
        tags=["durations"],
        parameters=[DurationsQuery],
        responses={200: DurationsOutput},
        examples=[answered("One operation", examples.DURATIONS)],
    )
    def get(self, request: Request) -> Response:
        """List for each operation what is likely, what four of five stay within, and why.

        Our standard minutes are where a workshop begins; its own finished tasks (the newest 2,000)
        move them, a few tasks a little and many much. Minutes that are asked about are left out
        until somebody answers, and counted in `waiting`. Valeters see these figures, and those of
        their own work, not of a colleague's.
        """
        query = DurationsQuery(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        values = query.validated_data
        asked = Asked(
            operation=values.get("operation", ""),
            body_size=values.get("body_size", ""),
            soiling=values.get("soiling"),
            person_id=values.get("person"),
        )
        return Response(durations_shown(durations_of(caller_of(request), asked)))


class JobEstimate(ApiView):
    """How long a car takes."""

    access: ClassVar[dict[str, Access]] = {"GET": workshops(Scope.READ)}

    @extend_schema(
        operation_id="job_estimate",
        tags=["durations"],
        responses={200: EstimateOutput},
        examples=[answered("A wash under way", examples.ESTIMATE)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Foretell what is left of a car's open tasks, each and all together, whoever does them.

        Minutes already worked on a task are told beside it and are not in the forecast: a task that
        was started is foretold from what such tasks still take after so many minutes. A task that
        takes long makes the others of its car longer too.

        The whole is a sum of times that hang together, by the size and the dirt of the car among
        others: its figures are not the sums of the tasks' figures.
        """
        return Response(estimate_shown(estimate_of(caller_of(request), job_id)))


class TaskMinutes(ApiView):
    """What a task really took."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="task_minutes",
        tags=["durations"],
        request=MinutesInput,
        responses={200: TaskMinutesOutput},
        examples=[
            sent("It is right", {"right": True}),
            sent("A clock was forgotten", {"minutes": 45, "reason": "Left running over night."}),
            answered("The task", examples.FORGOTTEN),
        ],
    )
    def post(self, request: Request, job_id: UUID, task_id: UUID) -> Response:
        """Confirm the minutes of a finished task, or say how many it really took.

        What was measured stays in `actual_minutes`; what you tell counts from then on. The same
        answer again changes nothing, another one takes its place; both stand in the history.
        """
        values = self.read(MinutesInput, request)
        task = minutes_tell(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            minutes=values.get("minutes"),
            occurred_at=values.get("occurred_at") or now(),
            reason=values.get("reason", ""),
        )
        return Response(TaskMinutesOutput(task).data)


class SoilingLevels(ApiView):
    """How dirty cars come in."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    @extend_schema(
        operation_id="soiling_level_list",
        tags=["catalogue"],
        responses={200: SoilingLevelsOutput},
        examples=[answered("One level", {"levels": [examples.LEVEL]})],
    )
    def get(self, request: Request) -> Response:
        """List the five levels, each with how to tell it and a picture (the text of an SVG)."""
        del request
        return Response(
            SoilingLevelsOutput(levels=[level_shown(level) for level in LEVELS.values()])
        )


class JobSoiling(ApiView):
    """How dirty this car came in."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="job_soiling",
        tags=["work"],
        request=SoilingInput,
        responses={200: SoilingOutput},
        examples=[sent("Well used", {"level": 3}), answered("It", examples.SOILING)],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Note how dirty the car came in; noting another level changes it.

        The answer shows what stands: a note told late does not undo a newer one.
        """
        values = self.read(SoilingInput, request)
        job = soiling_note(
            caller=caller_of(request),
            job_id=job_id,
            level=values["level"],
            occurred_at=values.get("occurred_at") or now(),
        )
        return Response(soiling_shown(job))


urlpatterns = [
    path("soiling-levels", SoilingLevels.as_view()),
    path("workshop/durations", WorkshopDurations.as_view()),
    path("jobs/<uuid:job_id>/estimate", JobEstimate.as_view()),
    path("jobs/<uuid:job_id>/soiling", JobSoiling.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/minutes", TaskMinutes.as_view()),
]
