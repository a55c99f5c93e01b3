"""The feed of events, which catches up on whatever a webhook lost, and the catalogue of types."""

from typing import ClassVar, cast

import orjson
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import OPEN, Access, Scope, caller_of, either
from accounts.selectors import epoch_of
from core.api.examples import answered
from core.epoch import cursor_at
from notifications.api import examples
from notifications.api.outputs import EventTypeOutput, EventTypesOutput, FeedOutput
from notifications.catalogue import ENDPOINT_TESTED, EventType, event_types
from notifications.inputs import FeedQuery
from notifications.models import Event
from notifications.selectors import events_after, refuse_gone
from notifications.selectors.feed import feed_position, refuse_ahead_of_feed
from notifications.services.publish import events_publish

JSON_SCHEMA = "https://json-schema.org/draft/2020-12/schema"
PLACED_AT_ONCE = 1000  # events that no worker has placed yet; where there are more, `more` says so


class EventFeed(ApiView):
    """Every event that concerns the caller's organisation, in order."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}
    query_names: ClassVar[frozenset[str]] = frozenset({"after", "limit"})
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"GET": ("409", "410")}

    @extend_schema(
        operation_id="event_feed",
        tags=["events"],
        parameters=[FeedQuery],
        responses={200: FeedOutput},
        examples=[answered("One event", examples.FEED)],
    )
    def get(self, request: Request) -> Response:
        """Read every event of your organisation in order, from behind a cursor.

        Keep the cursor of each answer and send it as `after` next time: no event is ever left
        out, however many are written at the same time, and whether webhooks arrive or not. Each
        entry is the notice as it is sent, with its position.

        Events are kept for a time. A cursor behind which some are gone is 410, and the answer has
        the `cursor` to begin with; without `after` the feed begins with the oldest that is kept. A
        cursor from before the service was restored from a backup is 409 `restored`, and the answer
        has the `cursor` to go on from.
        """
        # As a plain mapping: an empty `after` is then refused, not taken for one left out.
        form = FeedQuery(data=request.query_params.dict())
        form.is_valid(raise_exception=True)
        given, limit = form.validated_data["after"], form.validated_data["limit"]
        caller = caller_of(request)
        epoch = epoch_of(caller)
        after = feed_position(given or 0, epoch=epoch)
        # Normally a worker has done this; the feed must not depend on one being alive.
        placed = events_publish(limit=PLACED_AT_ONCE)
        found = events_after(caller, after=after, limit=limit + 1)
        refuse_gone(caller, after=None if given is None else after)
        if not found:
            refuse_ahead_of_feed(after)
        page = found[:limit]
        return Response(
            FeedOutput(
                events=[as_told(event) for event in page],
                cursor=cursor_at(cast("int", page[-1].position) if page else after, epoch=epoch),
                more=len(found) > limit or placed == PLACED_AT_ONCE,
            )
        )


def as_told(event: Event) -> orjson.Fragment:
    """Return the notice with its position and id put in front: the rest is the signed bytes."""
    head = f'{{"position":{event.position},"id":"{event.id}",'
    return orjson.Fragment(head + event.body.removeprefix("{"))


def described(kind: EventType) -> EventTypeOutput:
    """Return what the catalogue says of one type."""
    return EventTypeOutput(
        name=kind.name,
        summary=kind.summary,
        schema={"$schema": JSON_SCHEMA, **kind.schema},
        example=kind.example,
    )


class EventTypeList(ApiView):
    """The public catalogue of events."""

    access: ClassVar[dict[str, Access | None]] = {"GET": OPEN}

    authentication_classes = []

    @extend_schema(
        operation_id="event_type_list",
        tags=["events"],
        auth=[],
        responses={200: EventTypesOutput},
        examples=[answered("One type", EventTypesOutput(event_types=[described(ENDPOINT_TESTED)]))],
    )
    def get(self, request: Request) -> Response:
        """List every type of event with the JSON Schema of its notice and an example."""
        del request
        return Response(
            EventTypesOutput(event_types=[described(kind) for kind in event_types().values()])
        )
