"""Who gets an event: the endpoints that want it, and the addresses that it names itself.

A work order's contact need not be registered. Where nothing registered brings the event to that
address, it goes through a `direct` endpoint of the dealer's, made at its first notice, which gets
nothing else. Only the operator can switch one off, and then nothing goes there.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q
from django.db.models.functions import Lower

from notifications.models import Endpoint

EMAIL = Endpoint.Channel.EMAIL
Mailbox = tuple[UUID, str]  # a dealer and an address in lower case: one mailbox in any spelling


class Fresh(NamedTuple):
    """What publishing needs of an event that was just committed."""

    number: int
    type: str
    dealer_id: UUID | None
    workshop_id: UUID | None
    subject_id: UUID
    only_endpoint_id: UUID | None
    urgent: bool
    also_to: str
    also_types: str

    def mailboxes(self) -> Iterator[tuple[Mailbox, str]]:
        """Yield the addresses it names, as a mailbox and as they were written."""
        if self.also_to and self.dealer_id is not None:
            for address in self.also_to.splitlines():
                yield (self.dealer_id, address.lower()), address


class Taker(NamedTuple):
    """A registered endpoint that is on; `mailbox` is empty for a webhook."""

    id: UUID
    event_types: Collection[str]
    mailbox: str

    def wants(self, event: Fresh) -> bool:
        """Return whether the event goes to it."""
        if event.urgent or not self.event_types or event.type in self.event_types:
            return True
        return any(splitline in self.event_types for splitline in event.also_types.splitlines())


class Addressees:
    """The endpoints of everybody whom a batch of events concerns.

    Made under the lock of publishing, which also makes sure that a direct endpoint is made once.
    """

    def __init__(self, events: Iterable[Fresh]) -> None:
        events = list(events)
        self._registered: defaultdict[UUID | None, list[Taker]] = defaultdict(list)
        self._direct: dict[Mailbox, UUID] = {}
        self._refused: set[Mailbox] = set()
        owners = {owner for event in events for owner in (event.dealer_id, event.workshop_id)}
        self._look_up(owners - {None}, {box for event in events for box, _ in event.mailboxes()})

    def _look_up(self, owners: Collection[UUID | None], boxes: Collection[Mailbox]) -> None:
        wanted = Q(direct=False, state=Endpoint.State.ON)
        endpoints = Endpoint.objects.filter(organisation__in=owners, deleted_at=None)
        if boxes:
            endpoints = endpoints.annotate(mailbox=Lower("address"))
            wanted |= Q(direct=True, mailbox__in={address for _, address in boxes})
        # Locked, so that whoever switches one off waits and then stops what was made for it here.
        locked = endpoints.filter(wanted).select_for_update(no_key=True).order_by("pk")
        columns = ("organisation", "pk", "event_types", "channel", "address", "direct", "state")
        for owner, pk, types, channel, address, direct, state in locked.values_list(*columns):
            if not direct:
                mailbox = address.lower() if channel == EMAIL else ""
                self._registered[owner].append(Taker(pk, types, mailbox))
            elif state == Endpoint.State.ON:
                self._direct[owner, address.lower()] = pk
            else:
                self._refused.add((owner, address.lower()))

    def of(self, event: Fresh) -> list[UUID]:
        """Return the ids of the endpoints that the event goes to."""
        dealers, workshops = self._registered[event.dealer_id], self._registered[event.workshop_id]
        if event.only_endpoint_id is not None:
            return [
                taker.id for taker in (*dealers, *workshops) if taker.id == event.only_endpoint_id
            ]
        takers = [dealer for dealer in dealers if dealer.wants(event)]
        reached = {taker.mailbox for taker in takers}
        chosen = [
            taker.id
            for taker in (*takers, *(workshop for workshop in workshops if workshop.wants(event)))
        ]
        for box, address in event.mailboxes():
            if box[1] not in reached and box not in self._refused:
                reached.add(box[1])
                chosen.append(self._direct.get(box) or self._make(box, address))
        return chosen

    def _make(self, box: Mailbox, address: str) -> UUID:
        endpoint = Endpoint.objects.create(
            organisation_id=box[0], channel=EMAIL, address=address, direct=True
        )
        self._direct[box] = endpoint.pk
        return endpoint.pk
