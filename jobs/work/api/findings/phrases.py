"""Ready phrases over HTTP, and the list of areas that findings name."""

from typing import ClassVar

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from core.problems import InvalidRequest
from jobs.work.answers.findings import examples
from jobs.work.answers.findings.outputs import AreaOutput, AreasOutput, PhraseOutput, PhrasesOutput
from jobs.work.calc.car.areas import AREAS
from jobs.work.inputs.findings import PhraseChangeInput, PhraseInput
from jobs.work.selectors.findings.phrases import phrases_of
from jobs.work.services.findings.phrases import phrase_add, phrase_change, phrase_remove

YES_OR_NO = {"true": True, "false": False}


def wants_hidden(request: Request) -> bool:
    """Return what `hidden` in the query says. Raises InvalidRequest for another word."""
    word = request.query_params.get("hidden", "false")
    if word not in YES_OR_NO:
        message = "Send true or false."
        raise InvalidRequest(f"hidden: {message}", errors=[{"field": "hidden", "message": message}])
    return YES_OR_NO[word]


class Phrases(ApiView):
    """The workshop's ready phrases."""

    access: ClassVar[dict[str, Access]] = {
        # Whoever works on cars reads them; what everybody says is for the owner and managers.
        "GET": workshops(Scope.WORK),
        "POST": workshops(Scope.DECIDE),
    }
    query_names = frozenset({"hidden"})

    @extend_schema(
        operation_id="phrase_list",
        tags=["catalogue"],
        parameters=[
            OpenApiParameter("hidden", bool, description="True: show those hidden as well.")
        ],
        responses={200: PhrasesOutput},
        examples=[answered("One phrase", {"phrases": [examples.PHRASE]})],
    )
    def get(self, request: Request) -> Response:
        """List the ready phrases: ours, in the workshop's wording where it has one, and its own."""
        rows = phrases_of(caller_of(request).organisation_id, hidden=wants_hidden(request))
        return Response(PhrasesOutput(phrases=PhraseOutput.rows(rows)))

    @extend_schema(
        operation_id="phrase_add",
        tags=["catalogue"],
        request=PhraseInput,
        responses={201: PhraseOutput},
        examples=[
            sent("Sand", examples.OWN_PHRASE),
            answered("It", {**examples.OWN_PHRASE, "hidden": False, "wording": "own"}, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Add a phrase of the workshop's own."""
        phrase = phrase_add(caller=caller_of(request), phrase=self.read(PhraseInput, request))
        return Response(PhraseOutput(phrase).data, status=201)


class PhraseDetail(ApiView):
    """One ready phrase."""

    access: ClassVar[dict[str, Access]] = {
        "PATCH": workshops(Scope.DECIDE),
        "DELETE": workshops(Scope.DECIDE),
    }

    @extend_schema(
        operation_id="phrase_change",
        tags=["catalogue"],
        request=PhraseChangeInput,
        responses={200: PhraseOutput},
        examples=[
            sent("In our words", {"noticed": "Clicks on the turn.", "hidden": False}),
            answered(
                "It",
                {**examples.PHRASE, "noticed": "Clicks on the turn.", "wording": "reworded"},
            ),
        ],
    )
    def patch(self, request: Request, code: str) -> Response:
        """Reword a phrase, a standard one included, or hide it."""
        changes = self.read(PhraseChangeInput, request, partial=True)
        phrase = phrase_change(caller=caller_of(request), code=code, changes=changes)
        return Response(PhraseOutput(phrase).data)

    @extend_schema(operation_id="phrase_remove", tags=["catalogue"], responses={204: None})
    def delete(self, request: Request, code: str) -> Response:
        """Delete a phrase of the workshop's own; a standard one goes back to our wording."""
        phrase_remove(caller=caller_of(request), code=code)
        return Response(status=204)


class AreaList(ApiView):
    """The areas of a vehicle."""

    access: ClassVar[dict[str, Access]] = {"GET": either(None)}

    @extend_schema(
        operation_id="area_list",
        tags=["catalogue"],
        responses={200: AreasOutput},
        examples=[answered("One area", {"areas": [examples.AREA]})],
    )
    def get(self, request: Request) -> Response:
        """List the areas of a vehicle that findings, readings and pictures name.

        Left and right are as from the driver's seat, facing forward, whichever side the steering
        wheel is on.
        """
        del request
        areas = [
            AreaOutput(
                code=area.code,
                name=area.name,
                group=area.group.value,
                side=area.side.value,
                twin=area.twin,
                is_panel=area.is_panel,
            )
            for area in AREAS.values()
        ]
        return Response(AreasOutput(areas=areas))


urlpatterns = [
    path("phrases", Phrases.as_view()),
    path("phrases/<str:code>", PhraseDetail.as_view()),
    path("areas", AreaList.as_view()),
]
