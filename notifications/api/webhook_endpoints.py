"""Webhook endpoints over HTTP: list, add, change, delete, rotate the secret, test, replay."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, caller_of
from accounts.selectors import epoch_of
from core.api.examples import answered, sent
from core.epoch import cursor_at, position_in
from notifications.api import examples
from notifications.api.deliveries import MANAGE, DeliveryList
from notifications.api.outputs import (
    DeliveryOutput,
    FreshWebhookEndpointOutput,
    ReplayedOutput,
    TestedOutput,
    WebhookEndpointOutput,
    with_secret,
)
from notifications.inputs import (
    RangeReplayInput,
    RotateInput,
    WebhookEndpointChangeInput,
    WebhookEndpointInput,
)
from notifications.models import Endpoint
from notifications.selectors import endpoint_of, endpoints_of
from notifications.services.endpoints import (
    FreshSecret,
    endpoint_add,
    endpoint_change,
    endpoint_remove,
    endpoint_test,
    secret_rotate,
)
from notifications.services.replay import delivery_replay, range_replay

WEBHOOK = Endpoint.Channel.WEBHOOK
TAG = ["webhook endpoints"]
POST_ONLY: dict[str, Access] = {"POST": MANAGE}


def secret_answer(fresh: FreshSecret, status: int) -> Response:
    """Show a secret the one time it can be shown, to nobody's cache."""
    headers = {"Cache-Control": "no-store"}
    if status == 201:  # noqa: PLR2004
        headers["Location"] = f"/api/v1/webhook-endpoints/{fresh.endpoint.pk}"
    return Response(with_secret(fresh.endpoint, fresh.secret), status=status, headers=headers)


class WebhookEndpoints(ListAPIView[Endpoint], ApiView):
    """The webhook endpoints of the caller's organisation.

    Answers are not kept under an Idempotency-Key, for they hold a secret; the address, which can
    be there once only, keeps a repeated POST from adding a second endpoint.
    """

    access: ClassVar[dict[str, Access]] = {"GET": MANAGE, "POST": MANAGE}
    keeps_answers = False
    serializer_class = WebhookEndpointOutput
    queryset = Endpoint.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[Endpoint]:
        """Return the caller's own."""
        return endpoints_of(caller_of(self.request), WEBHOOK)

    @extend_schema(
        operation_id="webhook_endpoint_list",
        tags=TAG,
        examples=[answered("One endpoint", examples.WEBHOOK)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List your webhook endpoints, newest first; follow `next` for more."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="webhook_endpoint_add",
        tags=TAG,
        request=WebhookEndpointInput,
        responses={201: FreshWebhookEndpointOutput},
        examples=[
            sent("A stock system", examples.WEBHOOK_INPUT),
            answered("With its secret", examples.FRESH_WEBHOOK, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Add a webhook endpoint; the answer shows its secret, this once.

        The same URL a second time: 409 with the id of the existing endpoint.
        """
        values = self.read(WebhookEndpointInput, request)
        fresh = endpoint_add(caller=caller_of(request), channel=WEBHOOK, **values)
        return secret_answer(fresh, 201)


class WebhookEndpointDetail(ApiView):
    """One webhook endpoint."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGE, "PATCH": MANAGE, "DELETE": MANAGE}

    @extend_schema(
        operation_id="webhook_endpoint_read",
        tags=TAG,
        responses={200: WebhookEndpointOutput},
        examples=[answered("An endpoint that is on", examples.WEBHOOK)],
    )
    def get(self, request: Request, endpoint_id: UUID) -> Response:
        """Read one webhook endpoint and how it is doing."""
        endpoint = endpoint_of(caller_of(request), WEBHOOK, endpoint_id)
        return Response(WebhookEndpointOutput(endpoint).data)

    @extend_schema(
        operation_id="webhook_endpoint_change",
        tags=TAG,
        request=WebhookEndpointChangeInput,
        responses={200: WebhookEndpointOutput},
        examples=[
            sent("Switch it off", {"state": "off"}),
            answered("It is off", examples.SWITCHED_OFF),
        ],
    )
    def patch(self, request: Request, endpoint_id: UUID) -> Response:
        """Change a webhook endpoint, or switch it on or off.

        Off stops what waits for it, and what happens meanwhile is not sent. On forgets the
        failures of one that was disabled; a replay of the time between sends what was missed.
        """
        changes = self.read(WebhookEndpointChangeInput, request, partial=True)
        endpoint = endpoint_change(
            caller=caller_of(request), channel=WEBHOOK, endpoint_id=endpoint_id, changes=changes
        )
        return Response(WebhookEndpointOutput(endpoint).data)

    @extend_schema(operation_id="webhook_endpoint_delete", tags=TAG, responses={204: None})
    def delete(self, request: Request, endpoint_id: UUID) -> Response:
        """Delete a webhook endpoint; what waits for it is stopped."""
        endpoint_remove(caller=caller_of(request), channel=WEBHOOK, endpoint_id=endpoint_id)
        return Response(status=204)


class WebhookSecret(ApiView):
    """The secret of a webhook endpoint."""

    access: ClassVar[dict[str, Access]] = POST_ONLY
    keeps_answers = False  # the answer holds a secret; `replace_newest` serves a lost answer

    @extend_schema(
        operation_id="webhook_endpoint_rotate_secret",
        tags=TAG,
        request=RotateInput,
        responses={200: FreshWebhookEndpointOutput},
        examples=[
            sent("The usual way", {}),
            answered("With the new secret", examples.ROTATED_WEBHOOK),
        ],
    )
    def post(self, request: Request, endpoint_id: UUID) -> Response:
        """Rotate the secret; the answer shows the new one, and the old one signs for 24 hours more.

        While an older secret still signs: 409, unless `replace_newest` says that the newest one
        never reached you.
        """
        values = self.read(RotateInput, request)
        fresh = secret_rotate(caller=caller_of(request), endpoint_id=endpoint_id, **values)
        return secret_answer(fresh, 200)


class WebhookTest(ApiView):
    """A test notice."""

    access: ClassVar[dict[str, Access]] = POST_ONLY

    @extend_schema(
        operation_id="webhook_endpoint_test",
        tags=TAG,
        request=None,
        responses={202: TestedOutput},
        examples=[answered("On its way", examples.TESTED, 202)],
    )
    def post(self, request: Request, endpoint_id: UUID) -> Response:
        """Send a test notice, `endpoint.tested`, to this endpoint only."""
        event = endpoint_test(caller=caller_of(request), channel=WEBHOOK, endpoint_id=endpoint_id)
        return Response(TestedOutput(event_id=event.id), status=202)


class WebhookDeliveries(DeliveryList):
    """What became of the notices to a webhook endpoint."""

    channel = WEBHOOK

    @extend_schema(
        operation_id="webhook_endpoint_deliveries",
        tags=TAG,
        examples=[answered("A first attempt failed", examples.DELIVERY)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the deliveries to a webhook endpoint with every attempt, newest first."""
        return super().get(request, *args, **kwargs)


class WebhookDeliveryReplay(ApiView):
    """One delivery again."""

    access: ClassVar[dict[str, Access]] = POST_ONLY

    @extend_schema(
        operation_id="webhook_endpoint_replay_one",
        tags=TAG,
        request=None,
        responses={202: DeliveryOutput},
        examples=[answered("Due at once", examples.REPLAYED_DELIVERY, 202)],
    )
    def post(self, request: Request, endpoint_id: UUID, delivery_id: UUID) -> Response:
        """Send one delivery again, whatever became of it; the notice keeps its id."""
        delivery = delivery_replay(
            caller=caller_of(request),
            channel=WEBHOOK,
            endpoint_id=endpoint_id,
            delivery_id=delivery_id,
        )
        return Response(DeliveryOutput(delivery).data, status=202)


class WebhookReplay(ApiView):
    """A range of events again."""

    access: ClassVar[dict[str, Access]] = POST_ONLY
    further_problems: ClassVar[dict[str, tuple[str, ...]]] = {"POST": ("410",)}

    @extend_schema(
        operation_id="webhook_endpoint_replay",
        tags=TAG,
        request=RangeReplayInput,
        responses={202: ReplayedOutput},
        examples=[
            sent("What was missed this morning", examples.RANGE),
            answered("All of it", examples.REPLAYED, 202),
        ],
    )
    def post(self, request: Request, endpoint_id: UUID) -> Response:
        """Send a range of past events again, also those that happened while it was off.

        One call looks at up to 1,000 events; where `more` is true, send the same again with
        `after` = `cursor`. Every notice keeps its id, so a receiver that remembers ids acts once.
        A range that begins before what is kept is 410; the answer says `from` when it may begin.
        """
        values = self.read(RangeReplayInput, request)
        caller = caller_of(request)
        epoch = epoch_of(caller)
        values["after"] = position_in(values["after"], epoch=epoch)
        done = range_replay(caller=caller, channel=WEBHOOK, endpoint_id=endpoint_id, **values)
        cursor = cursor_at(done.cursor, epoch=epoch)
        return Response(
            ReplayedOutput(replayed=done.count, cursor=cursor, more=done.more), status=202
        )
