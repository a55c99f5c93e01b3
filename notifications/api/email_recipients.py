"""E-mail recipients over HTTP: for a dealer who has no system, or a person who wants to know."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, caller_of
from core.api.examples import answered, sent
from notifications.api import examples
from notifications.api.deliveries import MANAGE, DeliveryList
from notifications.api.outputs import EmailRecipientOutput, TestedOutput
from notifications.inputs import EmailRecipientChangeInput, EmailRecipientInput
from notifications.models import Endpoint
from notifications.selectors import endpoint_of, endpoints_of
from notifications.services.endpoints import (
    endpoint_add,
    endpoint_change,
    endpoint_remove,
    endpoint_test,
)

EMAIL = Endpoint.Channel.EMAIL
TAG = ["e-mail recipients"]


class EmailRecipients(ListAPIView[Endpoint], ApiView):
    """The e-mail recipients of the caller's organisation."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGE, "POST": MANAGE}
    serializer_class = EmailRecipientOutput
    queryset = Endpoint.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[Endpoint]:
        """Return the caller's own."""
        return endpoints_of(caller_of(self.request), EMAIL)

    @extend_schema(
        operation_id="email_recipient_list",
        tags=TAG,
        examples=[answered("One recipient", examples.RECIPIENT)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List your e-mail recipients, newest first; follow `next` for more."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="email_recipient_add",
        tags=TAG,
        request=EmailRecipientInput,
        responses={201: EmailRecipientOutput},
        examples=[
            sent("The front desk", examples.RECIPIENT_INPUT),
            answered("The recipient", examples.RECIPIENT, 201),
        ],
    )
    def post(self, request: Request) -> Response:
        """Add an e-mail recipient and choose what is worth a message.

        The same address a second time: 409 with the id of the existing recipient.
        """
        values = self.read(EmailRecipientInput, request)
        recipient = endpoint_add(caller=caller_of(request), channel=EMAIL, **values).endpoint
        return Response(
            EmailRecipientOutput(recipient).data,
            status=201,
            headers={"Location": f"/api/v1/email-recipients/{recipient.pk}"},
        )


class EmailRecipientDetail(ApiView):
    """One e-mail recipient."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGE, "PATCH": MANAGE, "DELETE": MANAGE}

    @extend_schema(
        operation_id="email_recipient_read",
        tags=TAG,
        responses={200: EmailRecipientOutput},
        examples=[answered("A recipient", examples.RECIPIENT)],
    )
    def get(self, request: Request, endpoint_id: UUID) -> Response:
        """Read one e-mail recipient and how it is doing."""
        recipient = endpoint_of(caller_of(request), EMAIL, endpoint_id)
        return Response(EmailRecipientOutput(recipient).data)

    @extend_schema(
        operation_id="email_recipient_change",
        tags=TAG,
        request=EmailRecipientChangeInput,
        responses={200: EmailRecipientOutput},
        examples=[
            sent("Another note", {"description": "Front desk"}),
            answered("The recipient", examples.RECIPIENT),
        ],
    )
    def patch(self, request: Request, endpoint_id: UUID) -> Response:
        """Change an e-mail recipient, or switch it on or off."""
        changes = self.read(EmailRecipientChangeInput, request, partial=True)
        recipient = endpoint_change(
            caller=caller_of(request), channel=EMAIL, endpoint_id=endpoint_id, changes=changes
        )
        return Response(EmailRecipientOutput(recipient).data)

    @extend_schema(operation_id="email_recipient_delete", tags=TAG, responses={204: None})
    def delete(self, request: Request, endpoint_id: UUID) -> Response:
        """Delete an e-mail recipient; what waits for it is stopped."""
        endpoint_remove(caller=caller_of(request), channel=EMAIL, endpoint_id=endpoint_id)
        return Response(status=204)


class EmailTest(ApiView):
    """A test message."""

    access: ClassVar[dict[str, Access]] = {"POST": MANAGE}

    @extend_schema(
        operation_id="email_recipient_test",
        tags=TAG,
        request=None,
        responses={202: TestedOutput},
        examples=[answered("On its way", examples.TESTED, 202)],
    )
    def post(self, request: Request, endpoint_id: UUID) -> Response:
        """Send a test message to this recipient only."""
        event = endpoint_test(caller=caller_of(request), channel=EMAIL, endpoint_id=endpoint_id)
        return Response(TestedOutput(event_id=event.id), status=202)


class EmailDeliveries(DeliveryList):
    """What became of the messages to an e-mail recipient."""

    channel = EMAIL

    @extend_schema(
        operation_id="email_recipient_deliveries",
        tags=TAG,
        examples=[answered("A first attempt failed", examples.DELIVERY)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the messages to an e-mail recipient with every attempt, newest first."""
        return super().get(request, *args, **kwargs)
