"""Endpoints: adding, changing and removing them, changing secrets, asking for a test notice."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller, Side
from accounts.models import Organisation
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut, named
from core.problems import Conflict, NotFound
from notifications.catalogue import ENDPOINT_TESTED
from notifications.models import Endpoint, Event
from notifications.selectors import CHANNEL_NAMES, endpoint_for_change, endpoints_of
from notifications.services.outbox import event_append
from notifications.services.secrets import encrypt, new_secret
from notifications.services.waiting import waiting_stop

OLD_SECRET_SIGNS = timedelta(hours=24)
# Every event is copied to each of them; more is a mistake in a loop, not a need.
MOST_ENDPOINTS = 100
ON, OFF = Endpoint.State.ON, Endpoint.State.OFF


class SameAddress(Conflict):
    """The organisation has an endpoint with this address already."""

    slug, title = "same-address", "This address is in use already"
    next_step = "Change the existing one, whose id is in this answer, or delete it first."


class SecretJustRotated(Conflict):
    """The secret before the present one still signs."""

    slug, title = "secret-just-rotated", "The secret was rotated within the last 24 hours"
    next_step = (
        "Wait until old_secret_until; or, where the newest secret never reached you, send "
        '{"replace_newest": true}: it is replaced, and the older one signs on until then.'
    )


class EndpointNotOn(Conflict):
    """Nothing is sent to an endpoint that is off or disabled."""

    slug, title = "endpoint-not-on", "Nothing is sent while it is off"
    next_step = 'Switch it on with PATCH {"state": "on"}, then send this again.'


@dataclass(frozen=True, slots=True, kw_only=True)
class EndpointChange:
    """What changes of an endpoint; `state` is on or off, no `event_types` are all of them."""

    address: str | LeftOut = LEFT_OUT
    description: str | LeftOut = LEFT_OUT
    event_types: Sequence[str] | LeftOut = LEFT_OUT
    state: str | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True)
class FreshSecret:
    """An endpoint and its new secret, which can be shown this once only."""

    endpoint: Endpoint
    secret: str


@transaction.atomic
def endpoint_add(
    *,
    caller: Caller,
    channel: Endpoint.Channel,
    address: str,
    event_types: list[str],
    description: str = "",
) -> FreshSecret:
    """Add an endpoint; only a webhook has a secret. Raises SameAddress, or Conflict if too many."""
    _one_at_a_time(caller)
    _refuse_same_address(caller, channel, address)
    if endpoints_of(caller, channel).count() >= MOST_ENDPOINTS:
        raise Conflict(
            f"Your organisation has {MOST_ENDPOINTS} of these, the most there may be.",
            next_step="Delete one that is not needed; one endpoint can take every event type.",
        )
    secret = new_secret() if channel == Endpoint.Channel.WEBHOOK else ""
    endpoint = Endpoint.objects.create(
        organisation_id=caller.organisation_id,
        channel=channel,
        address=address,
        description=description,
        event_types=event_types,
        secret=encrypt(secret) if secret else "",
    )
    return FreshSecret(endpoint, secret)


@transaction.atomic
def endpoint_change(
    *,
    caller: Caller,
    channel: Endpoint.Channel,
    endpoint_id: UUID,
    changes: EndpointChange,
) -> Endpoint:
    """Change an endpoint. Raises NotFound, and SameAddress for an address that is in use."""
    if changes.address is not LEFT_OUT:
        _one_at_a_time(caller)
    endpoint = endpoint_for_change(caller, channel, endpoint_id)
    if changes.address is not LEFT_OUT:
        _refuse_same_address(caller, channel, changes.address, but=endpoint_id)
    plain = {name: value for name, value in named(changes).items() if name != "state"}
    for name, value in plain.items():
        setattr(endpoint, name, value)
    endpoint.save(update_fields=plain.keys())
    if changes.state is not LEFT_OUT:
        _switch(endpoint, on=changes.state == ON, by=caller.name)
    return endpoint


@transaction.atomic
def endpoint_switch(*, endpoint_id: UUID, on: bool, by: str) -> Endpoint:
    """Switch any organisation's endpoint on or off, for the operator. Raises NotFound."""
    endpoint = Endpoint.objects.select_for_update(no_key=True).filter(
        pk=endpoint_id, deleted_at__isnull=True
    )
    if (found := endpoint.first()) is None:
        raise NotFound("There is no such endpoint, or it was deleted.")
    _switch(found, on=on, by=by)
    return found


@transaction.atomic
def endpoint_remove(*, caller: Caller, channel: Endpoint.Channel, endpoint_id: UUID) -> Endpoint:
    """Delete an endpoint; its row stays for the record of what was sent to it."""
    endpoint = endpoint_for_change(caller, channel, endpoint_id)
    moment = now()
    endpoint.state, endpoint.deleted_at = OFF, moment
    endpoint.state_reason = f"Deleted by {caller.name}."[:200]
    endpoint.save(update_fields=["state", "state_reason", "deleted_at"])
    waiting_stop(endpoint_id=endpoint.pk, at=moment)
    return endpoint


@transaction.atomic
def secret_rotate(
    *, caller: Caller, endpoint_id: UUID, replace_newest: bool = False
) -> FreshSecret:
    """Give a webhook endpoint a new secret; the old one signs for 24 hours more.

    While an older one still signs, another rotation is refused: it would cut off a receiver that
    has only that one. `replace_newest` says the newest never arrived, and replaces that instead.
    """
    endpoint = endpoint_for_change(caller, Endpoint.Channel.WEBHOOK, endpoint_id)
    moment, until = now(), endpoint.old_secret_until
    older_signs = until is not None and until > moment
    if older_signs and not replace_newest:
        raise SecretJustRotated(
            f"The secret before this one still signs until {until:%Y-%m-%dT%H:%M:%SZ}.",
            extra={"old_secret_until": until},
        )
    if not older_signs:
        endpoint.old_secret, endpoint.old_secret_until = endpoint.secret, moment + OLD_SECRET_SIGNS
    secret = new_secret()
    endpoint.secret = encrypt(secret)
    endpoint.save(update_fields=["secret", "old_secret", "old_secret_until"])
    return FreshSecret(endpoint, secret)


@transaction.atomic
def endpoint_test(*, caller: Caller, channel: Endpoint.Channel, endpoint_id: UUID) -> Event:
    """Append a test event for this endpoint only. Raises EndpointNotOn."""
    endpoint = endpoint_for_change(caller, channel, endpoint_id)
    refuse_unless_on(endpoint)
    is_dealer = caller.side is Side.DEALER
    return event_append(
        type=ENDPOINT_TESTED.name,
        subject_id=endpoint.pk,
        occurred_at=now(),
        data={"endpoint_id": endpoint.pk},
        dealer_id=caller.organisation_id if is_dealer else None,
        workshop_id=None if is_dealer else caller.organisation_id,
        only_endpoint_id=endpoint.pk,
    )


def refuse_unless_on(endpoint: Endpoint) -> None:
    """Raise EndpointNotOn, with the state and its reason, unless the endpoint is on."""
    if endpoint.state != ON:
        why = f" {endpoint.state_reason}" if endpoint.state_reason else ""
        raise EndpointNotOn(
            f"This {CHANNEL_NAMES[Endpoint.Channel(endpoint.channel)]} is {endpoint.state}.{why}",
            extra={"state": endpoint.state},
        )


def _one_at_a_time(caller: Caller) -> None:
    """Lock the search for a free address to one request at a time; events are not held up."""
    Organisation.objects.select_for_update(no_key=True).get(pk=caller.organisation_id)


def _refuse_same_address(
    caller: Caller, channel: Endpoint.Channel, address: str, *, but: UUID | None = None
) -> None:
    # An e-mail address is one mailbox in any case; a URL's path may not be.
    exactly = "iexact" if channel == Endpoint.Channel.EMAIL else "exact"
    twins = endpoints_of(caller, channel).filter(**{f"address__{exactly}": address})
    twin = (twins.exclude(pk=but) if but else twins).first()
    if twin is not None:
        raise SameAddress(
            f"Your organisation has a {CHANNEL_NAMES[channel]} with this address already.",
            extra={"existing_id": twin.pk},
        )


def _switch(endpoint: Endpoint, *, on: bool, by: str) -> None:
    """Switch on, forgetting the failures, or off, stopping what waits. Nothing if it is so."""
    if endpoint.state == (ON if on else OFF):
        return
    endpoint.state = ON if on else OFF
    endpoint.state_reason = "" if on else f"Switched off by {by}."[:200]
    endpoint.failing_since = endpoint.warned_at = endpoint.slowed_until = None
    endpoint.save(
        update_fields=["state", "state_reason", "failing_since", "warned_at", "slowed_until"]
    )
    if not on:
        waiting_stop(endpoint_id=endpoint.pk, at=now())
