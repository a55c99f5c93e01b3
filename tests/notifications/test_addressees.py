"""Urgent events, addresses that an event names itself, and letters: who gets what, and who not."""

import threading
from typing import Any
from uuid import UUID

import pytest
from cryptography.fernet import Fernet
from django.core.mail import EmailMessage
from django.db import connections
from pytest_django import DjangoAssertNumQueries, Settings

from accounts.models import Organisation
from core.clock import now
from core.ids import new_id
from notifications.engine.run import deliver
from notifications.letter import Letter
from notifications.models import Attempt, Delivery, Endpoint, Event
from notifications.services.endpoints import endpoint_switch
from notifications.services.health import endpoints_review
from notifications.services.publish import events_publish
from tests.figures import without_ids
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.receiver import Receiver

pytestmark = pytest.mark.django_db(transaction=True)
CONTACT = "Ines@harrowlane.example"
EMAIL: dict[str, Any] = {"channel": "email", "secret": ""}
LETTER = Letter(
    facts=(("Price", "45.00 GBP"),), links=(("Approve", "https://valet.example/decide/a"),)
)


def told(event: Event) -> set[UUID]:
    events_publish()
    return set(Delivery.objects.filter(event=event).values_list("endpoint", flat=True))


def direct() -> Endpoint:
    return Endpoint.objects.get(direct=True)


def test_an_urgent_event_goes_to_every_endpoint_that_is_on(
    workshop: Organisation, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    held_only = {"event_types": ["job.held"]}
    reached = {
        add_endpoint("https://a.example/1", **held_only).pk,
        add_endpoint("https://a.example/2", organisation=workshop, **held_only).pk,
        add_endpoint("desk@harrowlane.example", **EMAIL, **held_only).pk,
    }
    add_endpoint("https://a.example/3", state=Endpoint.State.OFF)
    add_endpoint("https://a.example/4", deleted_at=now())
    assert told(add_event(workshop_id=workshop.pk)) == set()
    assert told(add_event(workshop_id=workshop.pk, urgent=True)) == reached


def test_an_address_it_names_gets_it_though_nobody_registered_it(
    dealer: Organisation, workshop: Organisation, add_event: AddEvent
) -> None:
    event = add_event(workshop_id=workshop.pk, also_to=[CONTACT])
    reached = told(event)
    endpoint = direct()
    assert reached == {endpoint.pk}
    assert (endpoint.organisation, endpoint.channel) == (dealer, "email")
    assert endpoint.address == CONTACT
    assert told(add_event(also_to=[CONTACT.lower(), CONTACT.upper()])) == {endpoint.pk}
    assert told(add_event()) == set()
    assert told(add_event(urgent=True)) == set()


def test_an_address_that_gets_it_anyway_gets_no_second_copy(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    desk = add_endpoint(CONTACT.lower(), **EMAIL, event_types=["job.ready"])
    assert told(add_event(also_to=[CONTACT])) == {desk.pk}
    assert told(add_event(type="job.held", also_to=[CONTACT], urgent=True)) == {desk.pk}
    assert not Endpoint.objects.filter(direct=True).exists()


@pytest.mark.parametrize(
    "fields", [{"event_types": ["job.held"]}, {"state": "off"}, {"deleted_at": now()}]
)
def test_a_registered_address_that_would_not_get_it_gets_it_directly(
    fields: dict[str, Any], add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(CONTACT, **EMAIL, **fields)
    assert told(add_event(also_to=[CONTACT])) == {direct().pk}


def test_the_workshops_recipient_of_that_address_is_not_the_dealers(
    workshop: Organisation, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    theirs = add_endpoint(CONTACT, **EMAIL, organisation=workshop)
    reached = told(add_event(workshop_id=workshop.pk, also_to=[CONTACT]))
    assert reached == {theirs.pk, direct().pk}


def test_the_operator_can_stop_what_goes_to_an_address_directly(add_event: AddEvent) -> None:
    told(add_event(also_to=[CONTACT]))
    endpoint_switch(endpoint_id=direct().pk, on=False, by="the operator")
    assert told(add_event(also_to=[CONTACT], urgent=True)) == set()
    endpoint_switch(endpoint_id=direct().pk, on=True, by="the operator")
    assert told(add_event(also_to=[CONTACT])) == {direct().pk}


def test_a_failing_direct_address_is_neither_warned_about_nor_disabled(
    add_event: AddEvent, mailoutbox: list[EmailMessage]
) -> None:
    told(add_event(also_to=[CONTACT]))
    Endpoint.objects.update(failing_since="2020-01-01T00:00:00Z")
    endpoints_review()
    Endpoint.objects.update(warned_at="2020-01-02T00:00:00Z")
    endpoints_review()
    assert mailoutbox == []
    assert direct().state == "on"


def test_a_batch_takes_no_more_queries_with_addresses_that_are_known(
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    add_endpoint("https://a.example/1")
    told(add_event(also_to=[CONTACT]))
    for _ in range(5):
        add_event(also_to=[CONTACT])
    # Does anything wait; begin, (the lock,) which, endpoints, positions, deliveries, end.
    locks = connections["default"].vendor == "postgresql"
    with django_assert_num_queries(8 + locks):
        events_publish()
    assert Delivery.objects.filter(endpoint=direct()).count() == 6


def test_several_events_at_once_to_a_new_address_share_one_direct_endpoint(
    add_event: AddEvent,
) -> None:
    for _ in range(3):
        add_event(also_to=[CONTACT])
    assert events_publish() == 3
    assert Delivery.objects.filter(endpoint=direct()).count() == 3


def test_two_that_publish_at_once_make_one_direct_endpoint(add_event: AddEvent) -> None:
    for _ in range(20):
        add_event(also_to=[CONTACT])

    def publish() -> None:
        try:
            while events_publish(limit=1):
                pass
        finally:
            connections.close_all()

    threads = [threading.Thread(target=publish) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert Delivery.objects.filter(endpoint=direct()).count() == 20


def said(mailoutbox: list[EmailMessage]) -> dict[str, str]:
    return {message.to[0]: str(message.body) for message in mailoutbox}


def test_only_the_dealers_mailboxes_get_the_letter(
    workshop: Organisation,
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    receiver: Receiver,
    mailoutbox: list[EmailMessage],
) -> None:
    add_endpoint("desk@harrowlane.example", **EMAIL)
    add_endpoint("desk@tidewater.example", **EMAIL, organisation=workshop)
    add_endpoint(receiver.url("/a"))
    event = add_event(workshop_id=workshop.pk, also_to=[CONTACT], letter=LETTER)
    assert deliver().delivered == 4
    mails = said(mailoutbox)
    for address in ("desk@harrowlane.example", CONTACT):
        assert "Price: 45.00 GBP" in mails[address]
        assert "Approve:\nhttps://valet.example/decide/a\n" in mails[address]
    texts = [mails["desk@tidewater.example"], event.body, str(receiver.at("/a")[0].body)]
    for text in texts:
        assert "45.00" not in without_ids(text)
        assert "decide" not in text
    event.refresh_from_db()
    assert "decide" not in event.letter


def test_a_letter_that_no_key_opens_waits_alone_and_arrives_when_the_key_is_back(
    add_endpoint: AddEndpoint,
    add_event: AddEvent,
    settings: Settings,
    mailoutbox: list[EmailMessage],
) -> None:
    add_endpoint("desk@harrowlane.example", **EMAIL)
    locked = add_event(letter=LETTER)
    keys = list(settings.FIELD_KEYS)
    settings.FIELD_KEYS = [Fernet.generate_key().decode()]
    plain = add_event()
    deliver()
    states = dict(Delivery.objects.values_list("event__id", "state"))
    assert states == {locked.id: "waiting", plain.id: "delivered"}
    assert "mend its keys" in Delivery.objects.get(event__id=locked.id).last_error
    assert not Attempt.objects.exclude(error="").exists()
    settings.FIELD_KEYS = keys
    Delivery.objects.update(next_attempt_at=now())
    deliver()
    assert "https://valet.example/decide/a" in str(mailoutbox[-1].body)


def test_an_urgent_event_with_a_subject_of_its_own_passes_what_waits_about_the_car(
    add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint("desk@harrowlane.example", **EMAIL)
    car = new_id()
    stuck = add_event(car, type="job.held", data={"job": {}, "reason": "", "cause": "parts"})
    events_publish()
    Delivery.objects.update(next_attempt_at="2999-01-01T00:00:00Z", tries=1)
    behind, urgent = add_event(car), add_event(urgent=True)
    deliver()
    states = dict(Delivery.objects.values_list("event__id", "state"))
    assert states == {stuck.id: "waiting", behind.id: "waiting", urgent.id: "delivered"}
