"""What became of the notices to one endpoint, whichever its channel."""

from typing import Any, ClassVar

import django_filters
from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend, FilterSet
from rest_framework.generics import ListAPIView

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either
from notifications.api.outputs import DeliveryOutput
from notifications.catalogue import event_types
from notifications.models import Delivery, Endpoint
from notifications.selectors import deliveries_of, endpoint_of

MANAGE = either(Scope.NOTICES)


def type_choices() -> list[tuple[str, str]]:
    """Return the names of the catalogue, as they stand when the question comes."""
    return [(name, name) for name in event_types()]


class DeliveryFilter(FilterSet):  # type: ignore[misc]  # the library has no types
    """What a list of deliveries can be narrowed by."""

    state = django_filters.MultipleChoiceFilter(
        choices=Delivery.State.choices, help_text="May be repeated."
    )
    event_type = django_filters.ChoiceFilter(
        field_name="event__type", choices=type_choices, help_text="GET /event-types lists them."
    )

    class Meta:
        model = Delivery
        fields: ClassVar[list[str]] = []


class DeliveryList(ListAPIView[Delivery], ApiView):
    """The deliveries of an endpoint of one channel, newest first."""

    channel: ClassVar[Endpoint.Channel]
    access: ClassVar[dict[str, Access]] = {"GET": MANAGE}
    serializer_class = DeliveryOutput
    filter_backends = [DjangoFilterBackend]
    filterset_class = DeliveryFilter
    queryset = Delivery.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[Delivery]:
        """Return the deliveries of the endpoint in the address. Raises NotFound."""
        caller: Any = caller_of(self.request)
        endpoint = endpoint_of(caller, self.channel, self.kwargs["endpoint_id"])
        return deliveries_of(endpoint)
