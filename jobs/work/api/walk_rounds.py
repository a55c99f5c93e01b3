"""Walk-rounds over HTTP."""

from collections.abc import Mapping
from typing import Any, ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from jobs.work.answers.findings import examples
from jobs.work.answers.walk_rounds import (
    DifferenceOutput,
    LightOfferOutput,
    NamedCodeOutput,
    WalkRoundItemsOutput,
    WalkRoundOutput,
    WalkRoundsOutput,
)
from jobs.work.calc.walk_rounds import ITEMS, WARNING_LIGHTS
from jobs.work.inputs.walk_rounds import WalkRoundInput
from jobs.work.models import WalkRound
from jobs.work.selectors.walk_rounds import WalkRounds, walk_rounds_of
from jobs.work.services.walk_rounds import walk_round_record


def standing_answer(standing: WalkRounds, status: int = 200) -> Response:
    """Render what stands for arrival and leaving."""
    context = {"photos": standing.photos}

    def shown(row: WalkRound | None) -> Any:
        return WalkRoundOutput(row, context=context).data if row else None

    answer = WalkRoundsOutput(
        arrival=shown(standing.arrival),
        leaving=shown(standing.leaving),
        earlier=[shown(row) for row in standing.earlier],
        differences=[
            DifferenceOutput(about=difference.about, text=difference.text)
            for difference in standing.differences
        ],
        remarks=standing.remarks,
        findings_to_report=[
            LightOfferOutput(light=offer.light, phrase=offer.phrase, area=offer.area)
            for offer in standing.offers
        ],
    )
    return Response(answer, status=status)


class WalkRoundList(ApiView):
    """What the car was like when it came and when it left."""

    access: ClassVar[dict[str, Access]] = {
        "GET": either(Scope.READ),
        "POST": workshops(Scope.WORK),
    }

    @extend_schema(
        operation_id="walk_round_list",
        tags=["findings"],
        responses={200: WalkRoundsOutput},
        examples=[answered("Came and left", examples.WALK_ROUNDS)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Read the walk-rounds of a job, and what differs between arrival and leaving."""
        return standing_answer(walk_rounds_of(caller_of(request), job_id))

    @extend_schema(
        operation_id="walk_round_record",
        tags=["findings"],
        request=WalkRoundInput,
        responses={201: WalkRoundsOutput},
        examples=[
            sent("It leaves", examples.WALK_ROUND_SENT),
            answered("What stands", examples.WALK_ROUNDS, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record a walk-round; a later one of the same occasion corrects it, and both stay.

        GET /walk-round-items lists items and warning lights.
        """
        record = self.read(WalkRoundInput, request)
        standing = walk_round_record(caller=caller_of(request), job_id=job_id, record=record)
        return standing_answer(standing, 201)


class WalkRoundItems(ApiView):
    """What a walk-round looks at."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    @extend_schema(
        operation_id="walk_round_items",
        tags=["catalogue"],
        responses={200: WalkRoundItemsOutput},
        examples=[
            answered(
                "One of each",
                {
                    "items": [{"code": "spare_wheel", "name": "spare wheel"}],
                    "warning_lights": [{"code": "brakes", "name": "brakes"}],
                },
            )
        ],
    )
    def get(self, request: Request) -> Response:
        """List the items and the warning lights that a walk-round looks at."""
        del request

        def named(names: Mapping[str, str]) -> list[NamedCodeOutput]:
            return [NamedCodeOutput(code=code, name=name) for code, name in names.items()]

        listed = WalkRoundItemsOutput(items=named(ITEMS), warning_lights=named(WARNING_LIGHTS))
        return Response(listed)


urlpatterns = [
    path("jobs/<uuid:job_id>/walk-rounds", WalkRoundList.as_view()),
    path("walk-round-items", WalkRoundItems.as_view()),
]
