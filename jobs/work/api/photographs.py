"""Photographs: uploaded, listed with fresh links, and served to those links."""

from typing import Any, ClassVar
from uuid import UUID

from django.conf import settings
from django.http import HttpResponse, HttpResponseBase
from django.urls import path
from django.utils.cache import get_conditional_response, patch_vary_headers
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from core.clock import now
from core.problems import Gone, NotAllowed
from jobs.work.answers.photographs import examples
from jobs.work.answers.photographs.outputs import PhotoOutput, PhotosOutput, photograph
from jobs.work.inputs.photographs.parsing import UploadParser
from jobs.work.inputs.photographs.uploads import PhotoInput
from jobs.work.models import Rendition
from jobs.work.selectors.photographs import link_end, photos_of_caller, rendition_of
from jobs.work.services.photographs.files import file_read
from jobs.work.services.photographs.photographs import Shot, photo_add

FRESH_LINK = "GET /api/v1/jobs/{job_id}/photos gives a fresh link."


class JobPhotos(ApiView):
    """The photographs of a job."""

    access: ClassVar[dict[str, Access]] = {
        "GET": either(Scope.READ),
        "POST": workshops(Scope.WORK),
    }
    parser_classes = [UploadParser]

    @classmethod
    def body_limit_bytes(cls) -> int:
        return int(settings.PHOTO_LIMIT_BYTES)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Read and decode an upload before the transaction that an Idempotency-Key opens.

        Decoding takes a while, and on SQLite nobody else could write meanwhile.
        """
        super().initial(request, *args, **kwargs)
        if request.method == "POST":
            from jobs.work.services.photographs.pictures import read_upload  # noqa: PLC0415  loads the decoders

            self.given = self.read(PhotoInput, request)
            self.upload = read_upload(self.given.pop("file").read())

    def what_was_sent(self, _request: Request) -> tuple[str, bytes]:
        """Return what the form says: a client that makes it anew gives it another boundary."""
        said = f"{sorted(self.given.items())} {self.upload.sha256}"
        return UploadParser.media_type, said.encode()

    @extend_schema(
        operation_id="photo_list",
        tags=["photographs"],
        responses={200: PhotosOutput},
        examples=[answered("A pair", {"photos": [examples.PHOTO, examples.PAIR]})],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """List the photographs of a job with fresh links.

        The links work until `expires_at`, and only for callers who may see the job.
        """
        photos = photos_of_caller(caller_of(request), job_id)
        return Response(PhotosOutput(photos=[photograph(photo) for photo in photos]))

    @extend_schema(
        operation_id="photo_upload",
        tags=["photographs"],
        request={"multipart/form-data": PhotoInput},
        responses={201: PhotoOutput, 200: PhotoOutput},
        examples=[
            sent("A dent", examples.SENT, "multipart/form-data"),
            answered("The photograph", examples.PHOTO, 201),
            answered("It was here already", examples.PHOTO, 200),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Upload a photograph of a car that is here.

        Kept are two JPEGs, at most 320 and 1,280 pixels long, upright, in sRGB, without any
        metadata; the upload itself is not kept. Send it again with the same client_id as often
        as the connection needs: the first is kept and given back with 200.
        """
        values = dict(self.given)
        occurred_at = values.pop("occurred_at", None) or now()
        photo, fresh = photo_add(
            caller=caller_of(request),
            job_id=job_id,
            shot=Shot(**values),
            upload=self.upload,
            occurred_at=occurred_at,
        )
        return Response(photograph(photo), status=201 if fresh else 200)


class PhotoFile(ApiView):
    """One stored size of a photograph."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"GET": ("410",)}
    query_names = frozenset({"until", "signature"})

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:  # noqa: FBT001, FBT002  DRF's signature
        """Refuse no Accept header: there is only the JPEG, and who asks for it must get it."""
        del force
        return super().perform_content_negotiation(request, force=True)

    @extend_schema(
        operation_id="photo_file",
        tags=["photographs"],
        parameters=[
            OpenApiParameter("size", str, OpenApiParameter.PATH, enum=["320", "1280"]),
            OpenApiParameter("until", str, description="As it stands in the link."),
            OpenApiParameter("signature", str, description="As it stands in the link."),
        ],
        responses={(200, "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY, "The picture.")},
        examples=[answered("A picture", "(the bytes of a JPEG)", media_type="image/jpeg")],
    )
    def get(self, request: Request, photo_id: UUID, size: str) -> HttpResponseBase:
        """Fetch a photograph by a link that a list or a notice gave you.

        The link is not enough by itself: the call needs a key or a sign-in of the job's dealer
        or workshop. For everybody else nothing is there (404), whatever the signature. A link
        that was altered is 403, one that has expired 410.
        """
        rendition = rendition_of(caller_of(request), photo_id, size)
        seconds = self._seconds_left(request, rendition)
        etag = f'"{rendition.sha256}"'
        response = get_conditional_response(request._request, etag=etag)  # noqa: SLF001  Django's
        if response is None:
            response = HttpResponse(file_read(rendition), content_type="image/jpeg")
            name = f"{photo_id}-{size}.jpg"
            response.headers["Content-Disposition"] = f'inline; filename="{name}"'
        response.headers["ETag"] = etag
        response.headers["Cache-Control"] = f"private, max-age={seconds}, immutable"
        response.headers["X-Content-Type-Options"] = "nosniff"
        patch_vary_headers(response, ("Authorization", "Cookie"))
        return response

    @staticmethod
    def _seconds_left(request: Request, rendition: Rendition) -> int:
        """Return how long the link still works.

        Its photograph is the caller's own by now, so that saying what is wrong gives nothing away.
        Raises NotAllowed for a link that is not as we made it, Gone for one that has expired.
        """
        until = request.query_params.get("until", "")
        signature = request.query_params.get("signature", "")
        ends_at = link_end(rendition, until, signature)
        if ends_at is None:
            raise NotAllowed("This link is cut off or altered.", next_step=FRESH_LINK)
        seconds = int((ends_at - now()).total_seconds())
        if seconds <= 0:
            raise Gone("This link has expired.", next_step=FRESH_LINK)
        return seconds


urlpatterns = [
    path("jobs/<uuid:job_id>/photos", JobPhotos.as_view()),
    path("photos/<uuid:photo_id>/<str:size>", PhotoFile.as_view()),
]
