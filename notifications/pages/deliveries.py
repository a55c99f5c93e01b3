"""One webhook or e-mail recipient: how it does, what became of each notice, and sending again."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.safestring import SafeString
from rest_framework import serializers

from accounts.caller import Access, Caller
from accounts.navigation import audience_of, car_page_of
from core.api.errors import field_errors
from core.api.serializers import StrictSerializer
from core.problems import InvalidRequest
from notifications.catalogue import ENDPOINT_TESTED
from notifications.inputs import EventTypeField
from notifications.models import Attempt, Delivery, Endpoint
from notifications.pages.base import MANAGE, EndpointPage, kept_query, part, part_answer
from notifications.pages.kinds import Kind, type_choices, type_words
from notifications.pages.lines import (
    DELIVERY_WORDS,
    MOST_ATTEMPTS,
    NEWEST,
    DeliveryLine,
    EndpointLine,
    delivery_lines,
)
from notifications.selectors.overview import deliveries_shown, doing_of
from notifications.services.replay import delivery_replay

A_PAGE = 20
NARROWED_BY = ("state", "event_type")


class ListQuery(StrictSerializer):
    """What the list is narrowed by, and behind which delivery it goes on."""

    state = serializers.ChoiceField(Delivery.State.choices, required=False)
    before = serializers.UUIDField(required=False)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Add the types as the catalogue has them now."""
        return {**super().get_fields(), "event_type": EventTypeField(required=False)}


@dataclass(frozen=True, slots=True)
class Shown:
    """A page of the list: its lines, and behind which delivery it goes on, if it does."""

    lines: list[DeliveryLine]
    more_before: UUID | None


def list_query(typed: QueryDict) -> Mapping[str, Any]:
    """Return what the address asks for. Raises InvalidRequest for what no page leads to."""
    form = ListQuery(data={name: value for name, value in typed.items() if value})
    if not form.is_valid():
        raise InvalidRequest(
            "This address asks for a list that there is not.",
            next_step="Go back to the page before and choose from the lists there.",
            errors=list(field_errors(form.errors)),
        )
    return dict(form.validated_data)


def page_of(endpoint: Endpoint, asked: Mapping[str, Any]) -> Shown:
    """Return one page of the deliveries with their newest attempts: two queries."""
    newest = Attempt.objects.order_by("-pk")[:MOST_ATTEMPTS]
    found = list(
        deliveries_shown(endpoint, **asked).prefetch_related(
            Prefetch("attempts", newest, to_attr=NEWEST)
        )[: A_PAGE + 1]
    )
    more = found[A_PAGE - 1].pk if len(found) > A_PAGE else None
    return Shown(delivery_lines(found[:A_PAGE]), more)


def state_part(kind: Kind, endpoint: Endpoint) -> tuple[SafeString, str]:
    """Return how the endpoint does, with the buttons that fit, and the tag of that."""
    return part(
        "state.html",
        line=EndpointLine(endpoint, doing_of([endpoint])[endpoint.pk]),
        **{f"{page}_url": kind.to(endpoint, page) for page in ("test", "switch", "replay")},
    )


def deliveries_part(
    caller: Caller, kind: Kind, endpoint: Endpoint, asked: Mapping[str, Any]
) -> tuple[SafeString, str]:
    """Return what became of the notices, and the tag of that."""
    shown, car_page = page_of(endpoint, asked), car_page_of(audience_of(caller))
    lines = [
        (
            line,
            kind.to(endpoint, "again", delivery_id=line.delivery.pk),
            reverse(car_page, args=[line.delivery.subject_id]) if line.mark else "",
        )
        for line in shown.lines
    ]
    query = urlencode({name: asked[name] for name in NARROWED_BY if name in asked})
    return part(
        "deliveries.html", endpoint=endpoint, shown=shown, asked=asked, query=query, lines=lines
    )


class EndpointShow(EndpointPage):
    """The page."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show it."""
        asked, query = list_query(request.GET), kept_query(request.GET, NARROWED_BY)
        endpoint = self.endpoint(caller, endpoint_id)
        html, tag = deliveries_part(caller, self.kind, endpoint, asked)
        state_html, state_tag = state_part(self.kind, endpoint)
        about: dict[str, Any] = {
            "part": html,
            "tag": tag,
            "part_url": self.kind.to(endpoint, "part"),
            "state_part": state_html,
            "state_tag": state_tag,
            "state_url": self.kind.to(endpoint, "state_part"),
            "edit_url": self.kind.to(endpoint, "edit"),
            "delete_url": self.kind.to(endpoint, "delete"),
            "secret_url": self.kind.to(endpoint, "secret") if self.kind.is_webhook else "",
            "takes": type_words(endpoint.event_types),
            "asked": asked,
            "query": query,
            "list": kept_query(request.GET, (*NARROWED_BY, "before")),
            "older": "before" in asked,
            "states": [(code, words) for code, (words, _) in DELIVERY_WORDS.items()],
            "types": type_choices((ENDPOINT_TESTED.name,)),
        }
        return self.show_about(request, caller, endpoint, "endpoint.html", **about)


class EndpointState(EndpointPage):
    """How it does, alone, for the page that keeps itself fresh."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show it, unless it is as it was."""
        endpoint = self.endpoint(caller, endpoint_id)
        return part_answer(request, *state_part(self.kind, endpoint))


class EndpointPart(EndpointPage):
    """What became of the notices, alone, for the page that keeps itself fresh."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show it, unless it is as it was."""
        asked = list_query(request.GET)
        endpoint = self.endpoint(caller, endpoint_id)
        return part_answer(request, *deliveries_part(caller, self.kind, endpoint, asked))


class DeliveryAgain(EndpointPage):
    """One notice again."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGE}

    def post(
        self, request: HttpRequest, caller: Caller, endpoint_id: UUID, delivery_id: UUID
    ) -> HttpResponse:
        """Send it, and lead back to the list it was tapped in."""
        delivery = delivery_replay(
            caller=caller,
            channel=self.kind.channel,
            endpoint_id=endpoint_id,
            delivery_id=delivery_id,
        )
        query = kept_query(QueryDict(request.POST.get("list", "")), (*NARROWED_BY, "before"))
        to = self.kind.to(delivery.endpoint) + (f"?{query}" if query else "")
        return self.done(request, to, "It is on its way again.")
