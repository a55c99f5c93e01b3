"""What cures and dries on a car, over HTTP: both sides read it, the workshop feels and applies."""

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
from jobs.work.answers.curing import examples
from jobs.work.answers.curing.outputs import (
    ClockOutput,
    ProductUseOutput,
    WaitsOutput,
    clock_shown,
    use_shown,
    waits_shown,
)
from jobs.work.inputs.curing import ProductUseInput, TouchTestInput
from jobs.work.selectors.curing.waits import waits_of
from jobs.work.services.curing.touch_tests import touch_test_record
from jobs.work.services.products import product_use

WORK: dict[str, Access] = {"POST": workshops(Scope.WORK)}


class Waits(ApiView):
    """What a car waits for."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="job_waits",
        tags=["jobs"],
        responses={200: WaitsOutput},
        examples=[answered("A dressing cures", examples.WAITS)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Read what cures and dries on a car, when it may go outside, and what speaks against work.

        Times are worked out by the air as measured until now, and are an interval where it was
        not. They advise: the product's data sheet outranks them, and what dries is dry when
        somebody has felt it.
        """
        return Response(waits_shown(waits_of(caller_of(request), job_id, now())))


class TouchTests(ApiView):
    """Somebody felt whether it is dry."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="touch_test_record",
        tags=["work"],
        request=TouchTestInput,
        responses={201: ClockOutput},
        examples=[
            sent("Dry", {"dry": True, "occurred_at": "2027-03-01T13:30:00Z"}),
            sent("Still damp", {"dry": False, "note": "Under the driver's seat."}),
            answered("The clock", examples.FELT, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID, clock_id: UUID) -> Response:
        """Record a touch test: dry ends the clock, damp gives it more time and asks again.

        Dry may be felt before the sums say so. Only clocks with `touch_test` take one.
        """
        values = self.read(TouchTestInput, request)
        clock = touch_test_record(
            caller=caller_of(request),
            job_id=job_id,
            clock_id=clock_id,
            dry=values["dry"],
            occurred_at=values.get("occurred_at") or now(),
            note=values.get("note", ""),
        )
        return Response(clock_shown(clock), status=201)


class ProductUses(ApiView):
    """A product went onto the car."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="product_use_record",
        tags=["work"],
        request=ProductUseInput,
        responses={201: ProductUseOutput},
        examples=[
            sent("The gloss went on", examples.USE),
            answered("It cures", examples.USED, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record that a product went onto the car; what has to cure starts its clock.

        The clock goes by the product's own facts, and takes the place of the one that finishing
        the task would start, or has started.
        """
        values = self.read(ProductUseInput, request)
        applied = product_use(
            caller=caller_of(request),
            job_id=job_id,
            product_id=values["product_id"],
            task_id=values["task_id"],
            occurred_at=values.get("occurred_at") or now(),
            note=values.get("note", ""),
        )
        return Response(use_shown(applied), status=201)


urlpatterns = [
    path("jobs/<uuid:job_id>/waits", Waits.as_view()),
    path("jobs/<uuid:job_id>/clocks/<uuid:clock_id>/touch-tests", TouchTests.as_view()),
    path("jobs/<uuid:job_id>/uses", ProductUses.as_view()),
]
