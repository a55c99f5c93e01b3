"""Where cars wait: the figures, and the cars they are made of."""

from typing import Any, ClassVar

from django.http import HttpResponseBase
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, Side, caller_of
from accounts.models import Person
from core.api.examples import WorkedOut, answered
from core.clock import now
from jobs.work.answers.flow import examples, shown
from jobs.work.answers.flow.outputs import FlowOutput
from jobs.work.answers.flow.sheet import CSV, sheet
from jobs.work.inputs.flow import FlowQuery, asked_of
from jobs.work.selectors.flow.figures import FlowAsked, check_dealer, flow_of
from jobs.work.selectors.jobs.jobs import dealers_of

# Valeters work; where cars wait is for those who run the workshop, and for its systems.
FLOW = Access(
    Scope.FLOW,
    frozenset({Side.WORKSHOP}),
    roles=frozenset({Person.Role.OWNER, Person.Role.MANAGER}),
)


class _FlowView(ApiView):
    """What both calls share: who may, and which cars."""

    access: ClassVar[dict[str, Access]] = {"GET": FLOW}
    query_names: ClassVar[frozenset[str]] = frozenset(FlowQuery().fields)

    def asked(self, request: Request) -> FlowAsked:
        """Return which cars are asked about; every wrong parameter is named at once."""
        form = FlowQuery(data=request.query_params.dict())
        form.is_valid(raise_exception=True)
        return asked_of(form.validated_data)


class Flow(_FlowView):
    """The figures."""

    @extend_schema(
        operation_id="flow_read",
        tags=["flow"],
        parameters=[FlowQuery],
        responses={200: FlowOutput},
        examples=[WorkedOut("Twenty cars of a week", examples.flow)],
    )
    def get(self, request: Request) -> Response:
        """Read where cars waited: time by stage and cause, from arrival to ready, and the rest.

        The figures are of cars that became ready in the period (at most 1,098 days); `in_work`
        and what stands there is of this moment. Every second of a car has one cause, so minutes
        add up to the time from arrival to ready; hours in which the workshop is shut are not
        taken out. There are no amounts of money in it.
        """
        caller, asked = caller_of(request), self.asked(request)
        figures = flow_of(caller, asked, now(), dealers=dealers_of(caller))
        return Response(shown.flow(figures))


class FlowSheet(_FlowView):
    """The cars."""

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:  # noqa: FBT001, FBT002  DRF's signature
        """Refuse no Accept header: there is only the CSV, and who asks for CSV must get it."""
        del force
        return super().perform_content_negotiation(request, force=True)

    @extend_schema(
        operation_id="flow_csv",
        tags=["flow"],
        parameters=[FlowQuery],
        responses={(200, CSV): OpenApiResponse(OpenApiTypes.STR, "A line for each car.")},
        examples=[answered("A car", examples.SHEET, media_type=CSV)],
    )
    def get(self, request: Request) -> HttpResponseBase:
        """Download the cars that became ready in the period, each with its minutes.

        One column for each stage and cause, as in `cleaning_parts_minutes`, and `for_` columns
        for whom a car waited with nobody on it. What a spreadsheet would calculate has a ' in
        front of it.
        """
        caller, asked = caller_of(request), self.asked(request)
        check_dealer(asked, dealers_of(caller))
        return sheet(caller, asked, now())


urlpatterns = [
    path("flow", Flow.as_view()),
    path("flow.csv", FlowSheet.as_view()),
]
