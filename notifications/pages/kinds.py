"""The two ways a notice goes: what each is called on a page, and the forms of each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.urls import reverse

from core.api.serializers import StrictSerializer
from core.forms import Field, PageForm
from core.outbound.addresses import LONGEST_URL
from notifications.catalogue import ENDPOINT_TESTED, event_types
from notifications.inputs import (
    EmailRecipientChangeInput,
    EmailRecipientInput,
    WebhookEndpointChangeInput,
    WebhookEndpointInput,
)
from notifications.models import Endpoint

LONGEST_EMAIL = 254
LONGEST_NOTE = 200
NOTE = Field(
    "description",
    "A note of your own",
    hint="For example which system it is, or whose address.",
    longest=LONGEST_NOTE,
)


@dataclass(frozen=True, slots=True)
class Kind:
    """One channel: `name` begins the names of its addresses; `field` holds where it goes."""

    channel: Endpoint.Channel
    name: str
    noun: str
    add: str
    field: Field
    all_types: str
    new_input: type[StrictSerializer]
    change_input: type[StrictSerializer]

    @property
    def is_webhook(self) -> bool:
        """Return whether a system takes it, not a person."""
        return self.channel == Endpoint.Channel.WEBHOOK

    def new_form(self, typed: QueryDict | None = None) -> PageForm:
        """Return the form for a new one."""
        return PageForm(self.new_input, self._fields(()), typed=typed)

    def change_form(self, endpoint: Endpoint, typed: QueryDict | None = None) -> PageForm:
        """Return the form with what stands now."""
        standing: dict[str, Any] = {
            self.field.name: endpoint.address,
            "description": endpoint.description,
            "event_types": endpoint.event_types,
        }
        fields = self._fields(endpoint.event_types)
        return PageForm(self.change_input, fields, typed=typed, standing=standing, partial=True)

    def _fields(self, standing: Sequence[str]) -> list[Field]:
        types = Field(
            "event_types", "What it takes", "checks",
            hint=self.all_types, choices=type_choices(standing),
        )  # fmt: skip
        return [self.field, NOTE, types]

    def to(self, endpoint: Endpoint, page: str = "", **places: Any) -> str:
        """Return the address of a page about one of these."""
        name = f"{self.name}_{page}" if page else self.name
        return reverse(name, kwargs={"endpoint_id": endpoint.pk, **places})


WEBHOOK = Kind(
    channel=Endpoint.Channel.WEBHOOK,
    name="webhook",
    noun="webhook",
    add="Add a webhook",
    field=Field(
        "url",
        "Address of the receiving system",
        "url",
        hint="Begins with https:// and can be reached from the internet.",
        required=True,
        longest=LONGEST_URL,
    ),
    all_types="Tick none and it takes everything, also what is added to this service later.",
    new_input=WebhookEndpointInput,
    change_input=WebhookEndpointChangeInput,
)
EMAIL = Kind(
    channel=Endpoint.Channel.EMAIL,
    name="email_recipient",
    noun="e-mail recipient",
    add="Add an e-mail recipient",
    field=Field(
        "email", "E-mail address", "email", required=True, longest=LONGEST_EMAIL,
    ),
    all_types="Tick what is worth a message to a person; one at least.",
    new_input=EmailRecipientInput,
    change_input=EmailRecipientChangeInput,
)  # fmt: skip
KINDS = {kind.channel: kind for kind in (WEBHOOK, EMAIL)}


def kind_of(endpoint: Endpoint) -> Kind:
    """Return which of the two an endpoint is."""
    return KINDS[Endpoint.Channel(endpoint.channel)]


def type_choices(standing: Sequence[str] = ()) -> list[tuple[str, str]]:
    """Return the types to choose from, in words; a test is for nobody to choose, but may stand."""
    return [
        (name, kind.summary.removesuffix("."))
        for name, kind in event_types().items()
        if name != ENDPOINT_TESTED.name or name in standing
    ]


def type_words(names: Sequence[str]) -> list[str]:
    """Return the types that an endpoint takes, in words."""
    known = event_types()
    return [known[name].summary.removesuffix(".") if name in known else name for name in names]
