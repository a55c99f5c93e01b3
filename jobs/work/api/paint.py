"""The paint survey over HTTP: readings, tests and passes in, the survey and its picture out."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from core.clock import now
from jobs.work.answers.paint import examples, shown
from jobs.work.answers.paint.outputs import (
    FilmCheckMadeOutput,
    FilmCheckOutput,
    PaintOutput,
    PaintTestMadeOutput,
    PaintTestOutput,
    PassesMadeOutput,
    PassesOutput,
    SpotReadingOutput,
    SpotReadingsOutput,
)
from jobs.work.calc.catalogue.cautions import MACHINE
from jobs.work.calc.paint.film import WHOLE_CAR, FilmAnswer
from jobs.work.calc.paint.survey import Material, Spot
from jobs.work.calc.paint.system import Look, PadColour, PadTest, RubbedWith
from jobs.work.drawings.car_plan import Mark, car_plan
from jobs.work.inputs.paint import (
    FilmCheckInput,
    PaintTestInput,
    PassesInput,
    SetAsideInput,
    SpotsInput,
)
from jobs.work.models import PaintTest, PassesDone, SpotReading
from jobs.work.selectors.paint import paint_of
from jobs.work.services.paint import (
    NotedSpot,
    SetAside,
    film_checked,
    note_set_aside,
    paint_tested,
    passes_do,
    spots_read,
)

WORK: dict[str, Access] = {"POST": workshops(Scope.WORK)}
READ: dict[str, Access] = {"GET": either(Scope.READ)}
SVG = "image/svg+xml"
# A picture opened by itself must not be able to run or fetch anything.
SVG_HEADERS = {
    "Content-Security-Policy": "default-src 'none'",
    "X-Content-Type-Options": "nosniff",
    "Content-Disposition": 'inline; filename="paint.svg"',
}


class PaintReadings(ApiView):
    """Spot readings."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_readings",
        tags=["paint"],
        request=SpotsInput,
        responses={201: SpotReadingsOutput},
        examples=[
            sent("A panel measured, a plastic one noted", examples.SPOTS),
            answered("As recorded", {"readings": [examples.READING]}, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record spot readings, many at once: each the mean of at least three single readings.

        Every wrong field is named with its place, as in `spots.1.readings`.
        """
        values = self.read(SpotsInput, request)
        readings = spots_read(
            caller=caller_of(request),
            job_id=job_id,
            spots=[_spot(spot) for spot in values["spots"]],
            occurred_at=values.get("occurred_at") or now(),
        )
        return Response(SpotReadingsOutput(readings=SpotReadingOutput.rows(readings)), status=201)


def _spot(values: dict[str, Any]) -> NotedSpot:
    readings = tuple(values.get("readings", ()))
    spot = Spot(values["panel"], Material(values["material"]), readings)
    return NotedSpot(spot, values.get("note", ""))


def _set_aside(
    request: Request, values: dict[str, Any], kind: type[SetAside], **ids: UUID
) -> SetAside:
    return note_set_aside(
        caller=caller_of(request),
        kind=kind,
        reason=values["reason"],
        occurred_at=values.get("occurred_at") or now(),
        **ids,
    )


class PaintReadingSetAside(ApiView):
    """A reading that does not count."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_reading_set_aside",
        tags=["paint"],
        request=SetAsideInput,
        responses={200: SpotReadingOutput},
        examples=[
            sent("Taken wrongly", {"reason": "The gauge stood on a stone chip."}),
            answered("The reading", {**examples.READING, **examples.SET_ASIDE}),
        ],
    )
    def post(self, request: Request, job_id: UUID, reading_id: UUID) -> Response:
        """Set a reading aside with a reason; it stays on record and counts no more."""
        values = self.read(SetAsideInput, request)
        note = _set_aside(request, values, SpotReading, job_id=job_id, note_id=reading_id)
        return Response(SpotReadingOutput(note).data)


class PaintTestSetAside(ApiView):
    """A test that does not count."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_test_set_aside",
        tags=["paint"],
        request=SetAsideInput,
        responses={200: PaintTestOutput},
        examples=[
            sent("Noted wrongly", {"reason": "Wrong button."}),
            answered("The test", {**examples.PAINT["tests"][0], **examples.SET_ASIDE}),
        ],
    )
    def post(self, request: Request, job_id: UUID, test_id: UUID) -> Response:
        """Set a test aside with a reason; it stays on record and counts no more."""
        values = self.read(SetAsideInput, request)
        note = _set_aside(request, values, PaintTest, job_id=job_id, note_id=test_id)
        return Response(PaintTestOutput(note).data)


class PaintPassesSetAside(ApiView):
    """Passes that were not done."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_passes_set_aside",
        tags=["paint"],
        request=SetAsideInput,
        responses={200: PassesOutput},
        examples=[
            sent("Noted wrongly", {"reason": "These were on the roof."}),
            answered("The passes", {**examples.PAINT["passes"][0], **examples.SET_ASIDE}),
        ],
    )
    def post(self, request: Request, job_id: UUID, passes_id: UUID) -> Response:
        """Set passes aside that were noted wrongly; they stay on record and count no more."""
        values = self.read(SetAsideInput, request)
        note = _set_aside(request, values, PassesDone, job_id=job_id, note_id=passes_id)
        return Response(PassesOutput(note).data)


class PaintTests(ApiView):
    """Tests of the paint system."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_test",
        tags=["paint"],
        request=PaintTestInput,
        responses={201: PaintTestMadeOutput},
        examples=[
            sent("Faded bonnet", examples.TEST_SENT),
            answered("What it says", examples.TEST_MADE, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record a rub with a pad or cloth, what is seen on the paint, and what water did.

        Colour on the pad means single-stage, none a clear coat. White paint leaves a white pad
        either way: rub it with a dark cloth, else the system is not sure. Wet, faded single-stage
        paint darkens and can be brought back; fade beneath the clear cannot. Dull clear often
        polishes up, peeling clear does not (common practice, no source).
        """
        values = self.read(PaintTestInput, request)
        caller = caller_of(request)
        test = paint_tested(
            caller=caller,
            job_id=job_id,
            test=_pad_test(values),
            note=values.get("note", ""),
            occurred_at=values.get("occurred_at") or now(),
        )
        verdict = shown.verdict(paint_of(caller, job_id), test.panel)
        return Response(PaintTestMadeOutput(test=PaintTestOutput(test).data, **verdict), status=201)


def _pad_test(values: dict[str, Any]) -> PadTest:
    look = values.get("look") or (Look.FADED if values.get("faded") else Look.NOT_SAID)
    return PadTest(
        panel=values["panel"],
        pad_colour=PadColour(values["pad_colour"]),
        look=Look(look),
        darkens_when_wet=values.get("darkens_when_wet"),
        white_paint=values.get("white_paint"),
        rubbed_with=RubbedWith(values.get("rubbed_with", RubbedWith.WHITE_PAD)),
    )


class FilmChecks(ApiView):
    """Whether a film or wrap lies on the paint."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_film",
        tags=["paint"],
        request=FilmCheckInput,
        responses={201: FilmCheckMadeOutput},
        examples=[
            sent("No film on the whole car", examples.FILM_SENT),
            answered("As recorded", examples.FILM_MADE, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record whether a film or wrap lies on a panel, or on the whole vehicle.

        A film reads like a repaint. Until somebody has answered, a thick panel is called neither,
        and has no allowance. A panel with a film on it is compared with nothing.
        """
        values = self.read(FilmCheckInput, request)
        caller = caller_of(request)
        check = film_checked(
            caller=caller,
            job_id=job_id,
            panel=values.get("panel", WHOLE_CAR),
            film=FilmAnswer(values["film"]),
            note=values.get("note", ""),
            occurred_at=values.get("occurred_at") or now(),
        )
        film = shown.film(paint_of(caller, job_id), WHOLE_CAR)
        return Response(FilmCheckMadeOutput(check=FilmCheckOutput(check).data, **film), status=201)


class PaintPasses(ApiView):
    """Machine passes."""

    access: ClassVar[dict[str, Access]] = WORK

    @extend_schema(
        operation_id="paint_passes",
        tags=["paint"],
        request=PassesInput,
        responses={201: PassesMadeOutput},
        examples=[
            sent("One cutting pass", {"panel": "bonnet", "kind": "cut", "passes": 1}),
            answered("What is left", examples.PASSES_MADE, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Record machine passes over a panel; its allowance goes down by them.

        Nothing is refused for good: passes that the conservative allowance does not cover, or over
        a panel without a reading of paint (none taken, a film on it, or thick and nobody has looked
        for a film), give 409 with the warning and the allowance as it stands;
        with a `reason` they are recorded together with the warning.
        """
        values = self.read(PassesInput, request)
        caller = caller_of(request)
        done = passes_do(
            caller=caller,
            job_id=job_id,
            panel=values["panel"],
            kind=PassesDone.Kind(values["kind"]),
            passes=values["passes"],
            reason=values.get("reason", ""),
            occurred_at=values.get("occurred_at") or now(),
        )
        left = shown.allowance(paint_of(caller, job_id).allowance_of(done.panel))
        made = PassesMadeOutput(done=PassesOutput(done).data, allowance=left, cautions=[MACHINE])
        return Response(made, status=201)


class Paint(ApiView):
    """The survey."""

    access: ClassVar[dict[str, Access]] = READ

    @extend_schema(
        operation_id="paint_read",
        tags=["paint"],
        responses={200: PaintOutput},
        examples=[answered("Five panels, one of them built up", examples.PAINT)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Read the paint survey with its working: baseline, classes, allowance, supplies.

        Thickness alone never proves an accident. Signs of refinish are offered to the workshop
        as findings to send or not; none is made by itself.
        """
        caller = caller_of(request)
        return Response(shown.paint(paint_of(caller, job_id), caller))


class PaintPicture(ApiView):
    """The survey as a picture."""

    access: ClassVar[dict[str, Access]] = READ

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:  # noqa: FBT001, FBT002  DRF's signature
        """Refuse no Accept header: there is only the picture."""
        del force
        return super().perform_content_negotiation(request, force=True)

    @extend_schema(
        operation_id="paint_picture",
        tags=["paint"],
        responses={(200, SVG): OpenApiResponse(OpenApiTypes.STR, "The picture.")},
        examples=[answered("A picture", examples.PICTURE, media_type=SVG)],
    )
    def get(self, request: Request, job_id: UUID) -> HttpResponse:
        """Draw the car in plan view with its readings, left and right as from the driver's seat."""
        record = paint_of(caller_of(request), job_id)
        picture = car_plan(
            [Mark(panel.panel, panel.microns, panel.film_class) for panel in record.survey.panels],
            body_size=record.job.body_size,
            title=str(record.job),
            notes=record.survey.notes,
        )
        return HttpResponse(picture, content_type=SVG, headers=SVG_HEADERS)


urlpatterns = [
    path("jobs/<uuid:job_id>/paint", Paint.as_view()),
    path("jobs/<uuid:job_id>/paint.svg", PaintPicture.as_view()),
    path("jobs/<uuid:job_id>/paint-readings", PaintReadings.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-readings/<uuid:reading_id>/set-aside",
        PaintReadingSetAside.as_view(),
    ),
    path("jobs/<uuid:job_id>/paint-films", FilmChecks.as_view()),
    path("jobs/<uuid:job_id>/paint-tests", PaintTests.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-tests/<uuid:test_id>/set-aside",
        PaintTestSetAside.as_view(),
    ),
    path("jobs/<uuid:job_id>/paint-passes", PaintPasses.as_view()),
    path(
        "jobs/<uuid:job_id>/paint-passes/<uuid:passes_id>/set-aside",
        PaintPassesSetAside.as_view(),
    ),
]
