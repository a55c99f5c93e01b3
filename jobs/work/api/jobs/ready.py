"""GET /ready: the call every dealer's dashboard makes every few seconds."""

from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.http.response import HttpResponseBase
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from accounts.api.base import ApiView, refuse_unknown
from accounts.api.throttling import over_limit
from accounts.auth import caller_for_key, require
from accounts.caller import Access, Caller, Scope, caller_of, dealers
from accounts.selectors import epoch_of
from core.answers import problem_response
from core.api.examples import answered
from core.api.rendering import to_json
from core.epoch import MAX_CURSOR, cursor_at, position_in, refuse_ahead
from core.problems import InvalidRequest, Problem
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import ReadyCarOutput, ReadyOutput
from jobs.work.selectors.jobs.jobs import READY_PAGE, ready_cars

ACCESS = dealers(Scope.READ)
QUERY_NAMES = frozenset({"after"})
MAX_DIGITS = len(str(MAX_CURSOR))
FORM = 3  # raise it when the same cars are shown differently, so that old ETags no longer fit


class Ready(ApiView):
    """Ready cars.

    A key's poll takes a short way round DRF's machinery: the same checks, one query when nothing
    changed. Everything else (a person's sign-in, an error) goes the ordinary way.
    """

    access: ClassVar[dict[str, Access]] = {"GET": ACCESS}
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"GET": ("409",)}
    query_names: ClassVar[frozenset[str]] = QUERY_NAMES

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer a key's GET directly."""
        if request.method == "GET" and (header := request.headers.get("Authorization")):
            try:
                caller = caller_for_key(header)
                if caller is not None and not over_limit(caller.limit_key):
                    require(caller, ACCESS)
                    return answer_ready(request, caller)
            except Problem as problem:
                if problem.status != 401:  # noqa: PLR2004  DRF adds the header a 401 needs
                    return problem_response(problem)
        return super().dispatch(request, *args, **kwargs)

    @extend_schema(
        operation_id="ready_list",
        tags=["jobs"],
        parameters=[
            OpenApiParameter(
                "after",
                OpenApiTypes.INT64,
                description="The cursor of an earlier answer: only cars that became ready later.",
            )
        ],
        responses={200: ReadyOutput},
        examples=[answered("One ready car", examples.READY)],
    )
    def get(self, request: Request) -> HttpResponseBase:
        """List the dealer's ready cars, newest first; made for polling.

        Send the ETag back as If-None-Match: 304 while nothing changed. With `after` the cars
        come oldest first, so that paging on leaves none out. Without it the newest 200 come;
        where `more` is true, read from `after=0`. A cursor from before the service was restored
        from a backup is answered with 409 `restored`: read without `after` then.
        """
        return answer_ready(request, caller_of(request))


def answer_ready(request: HttpRequest | Request, caller: Caller) -> HttpResponseBase:
    """Return the ready cars, or 304 where the caller has them already.

    The version was read before the cars are: a change in between can only make the caller ask
    once more, never keep an old list.
    """
    refuse_unknown(request.GET, QUERY_NAMES)
    epoch = epoch_of(caller)
    after = _position(request, caller, epoch)
    shown_after = "" if after is None else f".{after}"
    etag = f'"{FORM}.{epoch}.{caller.organisation_id.hex}.{caller.feed_version}{shown_after}"'
    if etag in request.headers.get("If-None-Match", ""):
        return HttpResponseNotModified(headers={"ETag": etag})
    cars = ready_cars(dealer_id=caller.organisation_id, after=after, limit=READY_PAGE + 1)
    shown = [ReadyCarOutput(**car) for car in cars[:READY_PAGE]]
    answer = ReadyOutput(
        cars=shown,
        cursor=cursor_at(max((car.ready_number for car in shown), default=after or 0), epoch=epoch),
        more=len(cars) > READY_PAGE,
    )
    return HttpResponse(to_json(answer), content_type="application/json", headers={"ETag": etag})


def _position(request: HttpRequest | Request, caller: Caller, epoch: int) -> int | None:
    """Return behind which number cars are wanted, None for all. Raises InvalidRequest, Restored."""
    text = request.GET.get("after")
    if text is None:
        return None
    readable = text.isascii() and text.isdigit() and len(text) <= MAX_DIGITS
    if not (readable and int(text) <= MAX_CURSOR):
        message = "Not a cursor of this service."
        raise InvalidRequest(
            f"after: {message}",
            next_step="Send the cursor of an earlier answer, or leave it out.",
            errors=[{"field": "after", "message": message}],
        )
    position = position_in(int(text), epoch=epoch)
    refuse_ahead(position, end=caller.feed_version)
    return position


urlpatterns = [
    path("ready", Ready.as_view()),
]
