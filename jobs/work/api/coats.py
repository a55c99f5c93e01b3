"""Refinishing over HTTP: the catalogue of steps, coats with their timers, supplied items."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, Side, caller_of, either, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.coats import examples
from jobs.work.answers.coats.outputs import (
    CoatedTasksOutput,
    CoatOutput,
    StepsOutput,
    SuppliedItemOutput,
    SuppliedOutput,
    coat_shown,
    coated_shown,
    steps_shown,
    supplied_shown,
)
from jobs.work.calc.catalogue.workshop import STANDARD
from jobs.work.calc.coats import CoatKind
from jobs.work.inputs.coats import CoatInput, SuppliedInput
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.coats import coats_of, supplied_of
from jobs.work.services.coats import coat_apply, supplied_tick


class RefinishingSteps(ApiView):
    """How small parts are refinished."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    @extend_schema(
        operation_id="refinishing_step_list",
        tags=["catalogue"],
        responses={200: StepsOutput},
        examples=[answered("Sills", examples.STEPS)],
    )
    def get(self, request: Request) -> Response:
        """List the steps of each kind of part, with cautions, usual coats and flash-off.

        A workshop reads them in its own words.

        The figures are common practice without a source; the product's data sheet outranks them.
        """
        caller = caller_of(request)
        at_work = caller.side is Side.WORKSHOP
        return Response(steps_shown(catalogue_of(caller.organisation_id) if at_work else STANDARD))


class TaskCoats(ApiView):
    """Coats on the part of one task."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="coat_apply",
        tags=["refinishing"],
        request=CoatInput,
        responses={201: CoatOutput},
        examples=[
            sent("A light coat", {"kind": "colour", "flash_off_minutes": 10}),
            answered("The coat", examples.COAT, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID, task_id: UUID) -> Response:
        """Record a coat, which starts its flash-off timer.

        A coat that goes on before the last has flashed off, by the device's time, gives 409
        `flashing_off` with `until`, unless a reason is given. The task must be one that is
        painted, and started. The timer is one of the job's clocks: the car is not ready before.
        """
        values = self.read(CoatInput, request)
        coat = coat_apply(
            caller=caller_of(request),
            job_id=job_id,
            task_id=task_id,
            kind=CoatKind(values["kind"]),
            occurred_at=values.get("occurred_at") or now(),
            flash_off_minutes=values.get("flash_off_minutes"),
            reason=values.get("reason", ""),
        )
        return Response(coat_shown(coat, at=now()), status=201)


class JobCoats(ApiView):
    """Every coat on a car."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="coat_list",
        tags=["refinishing"],
        responses={200: CoatedTasksOutput},
        examples=[answered("A sill between its coats", examples.COATS)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """List the coats by task: which still flash off, when the next may go on."""
        at = now()
        tasks, readings = coats_of(caller_of(request), job_id)
        return Response(
            CoatedTasksOutput(tasks=[coated_shown(task, readings, at=at) for task in tasks])
        )


class Supplied(ApiView):
    """What the dealer supplies for the car."""

    access: ClassVar[dict[str, Access]] = {
        "GET": either(Scope.READ),
        "POST": workshops(Scope.WORK),
    }

    @extend_schema(
        operation_id="supplied_list",
        tags=["refinishing"],
        responses={200: SuppliedOutput},
        examples=[answered("One fitted, one to come", examples.SUPPLIED)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """List the parts and paint of the order with what became of each."""
        items = supplied_of(caller_of(request), job_id)
        return Response(SuppliedOutput(items=[supplied_shown(item) for item in items]))

    @extend_schema(
        operation_id="supplied_tick",
        tags=["refinishing"],
        request=SuppliedInput,
        responses={200: SuppliedItemOutput},
        examples=[
            sent("Fitted", {"item": "Wheel trim", "state": "fitted", "note": "Right rear."}),
            answered("The item", examples.SUPPLIED_ITEM),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Tick an item as received, fitted or not used; ticking again changes it.

        The answer shows what stands: a tick told late does not undo a newer one.
        """
        values = self.read(SuppliedInput, request)
        supplied = supplied_tick(
            caller=caller_of(request),
            job_id=job_id,
            item=values["item"],
            state=values["state"],
            occurred_at=values.get("occurred_at") or now(),
            note=values.get("note", ""),
        )
        return Response(supplied_shown(supplied))


urlpatterns = [
    path("refinishing-steps", RefinishingSteps.as_view()),
    path("jobs/<uuid:job_id>/coats", JobCoats.as_view()),
    path("jobs/<uuid:job_id>/tasks/<uuid:task_id>/coats", TaskCoats.as_view()),
    path("jobs/<uuid:job_id>/supplied", Supplied.as_view()),
]
