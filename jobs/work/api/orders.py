"""Work orders over HTTP: one, a batch, accept, decline, change, cancel."""

from collections.abc import Sequence
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Caller, Scope, caller_of, dealers, either, shown_to, workshops
from core.api.examples import answered, sent
from core.api.parsing import OrjsonParser
from core.clock import now
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import JobOutput
from jobs.work.answers.orders import BatchOutput, ColumnOutput, ColumnsOutput
from jobs.work.inputs.catalogue import read_with_codes
from jobs.work.inputs.jobs import ReasonInput
from jobs.work.inputs.orders.csv_lines import COLUMNS, CsvParser, read_orders, template
from jobs.work.inputs.orders.orders import (
    AcceptInput,
    BatchInput,
    DeclineInput,
    WorkOrderChangeInput,
    WorkOrderInput,
)
from jobs.work.intake.orders import lines_take, order_take
from jobs.work.models import Job
from jobs.work.selectors.catalogue import Catalogues, catalogue_of
from jobs.work.selectors.jobs.jobs import job_named
from jobs.work.services.catalogue import order_refused
from jobs.work.services.orders.orders import work_order_cancel, work_order_change, work_order_decide


def job_answer(job: Job, caller: Caller, status: int = 200) -> Response:
    """Render a job for its caller."""
    shown = JobOutput(job, context=shown_to(caller)).data
    headers = {"Location": f"/api/v1/jobs/{job.pk}"} if status == 201 else None  # noqa: PLR2004
    return Response(shown, status=status, headers=headers)


class WorkOrders(ApiView):
    """Post work orders."""

    access: ClassVar[dict[str, Access]] = {"POST": dealers(Scope.ORDER)}

    @extend_schema(
        operation_id="work_order_post",
        tags=["work orders"],
        request=WorkOrderInput,
        responses={201: JobOutput},
        examples=[
            sent("A part-exchange", examples.ORDER),
            answered("The job", examples.JOB, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Post one work order.

        What is doubtful (a mark that does not look like one, a due time that is past) comes back
        as a remark on the job. A second open order for the same dealer_ref or vehicle: 409.
        """
        caller = caller_of(request)
        job = order_take(caller, request.data, Catalogues())
        return job_answer(job, caller, 201)


class WorkOrderBatch(ApiView):
    """Post many work orders at once."""

    access: ClassVar[dict[str, Access]] = {"POST": dealers(Scope.ORDER)}
    parser_classes = [OrjsonParser, CsvParser]

    @extend_schema(
        operation_id="work_order_post_batch",
        tags=["work orders"],
        request={
            "application/json": BatchInput,
            "text/csv": OpenApiTypes.STR,
        },
        responses={200: BatchOutput},
        examples=[
            sent("Two orders", {"work_orders": [examples.ORDER, {"make": "Corvane"}]}),
            sent("As CSV", template(), "text/csv"),
            answered("An answer a line", examples.BATCH),
        ],
    )
    def post(self, request: Request) -> Response:
        """Post up to 500 work orders, as JSON or as CSV.

        Every line is answered on its own: a bad one never stops the good ones.
        """
        body: Any = request.data
        if isinstance(body, str):
            orders: Sequence[Any] = read_orders(body)
        else:
            orders = self.read(BatchInput, request)["work_orders"]
        lines = lines_take(caller_of(request), orders)
        received = sum(line.job_id is not None for line in lines)
        refused = len(lines) - received
        return Response(BatchOutput(received=received, refused=refused, lines=lines))


class WorkOrderColumns(ApiView):
    """The columns of the CSV form."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    @extend_schema(
        operation_id="work_order_columns",
        tags=["work orders"],
        responses={200: ColumnsOutput},
        examples=[
            answered(
                "Columns",
                {
                    "columns": [
                        {
                            "name": "dealer_ref",
                            "meaning": "Your stock number.",
                            "example": "PX-1042",
                        }
                    ]
                },
            )
        ],
    )
    def get(self, request: Request) -> Response:
        """List the columns of the CSV form, in any order and number you like."""
        del request
        columns = [
            ColumnOutput(name=name, meaning=meaning, example=example)
            for name, (meaning, example) in COLUMNS.items()
        ]
        return Response(ColumnsOutput(columns=columns))


class WorkOrderTemplate(ApiView):
    """A CSV to fill in."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:  # noqa: FBT001, FBT002  DRF's signature
        """Refuse no Accept header: there is only the CSV, and who asks for CSV must get it."""
        del force
        return super().perform_content_negotiation(request, force=True)

    @extend_schema(
        operation_id="work_order_template",
        tags=["work orders"],
        responses={(200, "text/csv"): OpenApiResponse(OpenApiTypes.STR, "The template.")},
        examples=[answered("Template", template(), media_type="text/csv")],
    )
    def get(self, request: Request) -> HttpResponse:
        """Download a CSV with the header and one example line."""
        del request
        return HttpResponse(
            template(),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="work-orders.csv"'},
        )


class WorkOrderDetail(ApiView):
    """Change a work order."""

    access: ClassVar[dict[str, Access]] = {"PATCH": dealers(Scope.ORDER)}

    @extend_schema(
        operation_id="work_order_change",
        tags=["work orders"],
        request=WorkOrderChangeInput,
        responses={200: JobOutput},
        examples=[
            sent("Polish it too", {"operations": ["full_valet", "polish_one_stage"]}),
            answered("The job", examples.JOB),
        ],
    )
    def patch(self, request: Request, job_id: UUID) -> Response:
        """Change what was ordered, before or during the work.

        Only the fields sent change; the old values stay in the history. An operation that is no
        longer wanted is dropped unless it was begun, which a remark tells.
        """
        caller = caller_of(request)

        def wrong(codes: Sequence[str]) -> str:
            job = job_named(caller, job_id)
            return order_refused(catalogue_of(job.workshop_id), codes, job.operations)

        change = read_with_codes(WorkOrderChangeInput(data=request.data, partial=True), wrong)
        job = work_order_change(caller=caller, job_id=job_id, change=change)
        return job_answer(job, caller)


class WorkOrderCancel(ApiView):
    """Cancel a work order."""

    access: ClassVar[dict[str, Access]] = {"POST": dealers(Scope.ORDER)}

    @extend_schema(
        operation_id="work_order_cancel",
        tags=["work orders"],
        request=ReasonInput,
        responses={200: JobOutput},
        examples=[
            sent("Sold", {"reason": "Sold as it stands."}),
            answered("The job", examples.JOB),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Cancel a work order; a car that has arrived still has to be collected."""
        values = self.read(ReasonInput, request)
        caller = caller_of(request)
        return job_answer(
            work_order_cancel(caller=caller, job_id=job_id, reason=values.get("reason", "")), caller
        )


class WorkOrderAccept(ApiView):
    """Accept a work order."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.DECIDE)}

    @extend_schema(
        operation_id="work_order_accept",
        tags=["work orders"],
        request=AcceptInput,
        responses={200: JobOutput},
        examples=[sent("Accept", {}), answered("The job", examples.JOB)],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Accept a work order that the trade account left to you."""
        values = self.read(AcceptInput, request)
        caller = caller_of(request)
        job = work_order_decide(
            caller=caller,
            job_id=job_id,
            accept=True,
            occurred_at=values.get("occurred_at") or now(),
        )
        return job_answer(job, caller)


class WorkOrderDecline(ApiView):
    """Decline a work order."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.DECIDE)}

    @extend_schema(
        operation_id="work_order_decline",
        tags=["work orders"],
        request=DeclineInput,
        responses={200: JobOutput},
        examples=[
            sent("No room", {"reason": "No room before Friday."}),
            answered("The job", examples.JOB),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Decline a work order, with the reason the dealer will read."""
        values = self.read(DeclineInput, request)
        caller = caller_of(request)
        job = work_order_decide(
            caller=caller,
            job_id=job_id,
            accept=False,
            reason=values["reason"],
            occurred_at=values.get("occurred_at") or now(),
        )
        return job_answer(job, caller)


urlpatterns = [
    path("work-orders", WorkOrders.as_view()),
    path("work-orders/batch", WorkOrderBatch.as_view()),
    path("work-orders/columns", WorkOrderColumns.as_view()),
    path("work-orders/template", WorkOrderTemplate.as_view()),
    path("work-orders/<uuid:job_id>", WorkOrderDetail.as_view()),
    path("work-orders/<uuid:job_id>/accept", WorkOrderAccept.as_view()),
    path("work-orders/<uuid:job_id>/decline", WorkOrderDecline.as_view()),
    path("work-orders/<uuid:job_id>/cancel", WorkOrderCancel.as_view()),
]
