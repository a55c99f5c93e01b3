"""E-mail: what a notice says, how it is marked, and what a mail server's refusal does."""

from typing import Any

import pytest
from django.core.mail import EmailMultiAlternatives
from pytest_django import Settings

from core.api.rendering import to_json
from core.ids import new_id
from notifications.engine.run import deliver
from notifications.letter import Letter
from notifications.mail import notice_mail
from notifications.models import Attempt, Delivery
from notifications.notice import Notice
from tests.notifications.conftest import AddEndpoint, AddEvent
from tests.notifications.mail_server import MailServer

ADDRESS = "desk@harrowlane.example"
JOB = {
    "id": str(new_id()),
    "registration": "TU21 ABC",
    "vin": "",
    "make": "Corvane",
    "model": "Lynd 1.4",
    "dealer_ref": "PX-1042",
    "stage": "ready",
    "due_at": "2027-06-03T16:00:00Z",
}


def notice(
    data: dict[str, Any], kind: str = "job.held", letter: Letter | None = None
) -> EmailMultiAlternatives:
    body = to_json({"type": kind, "timestamp": "2027-07-01T09:30:00Z", "data": data}).decode()
    return notice_mail(notice=Notice(new_id(), kind, body), address=ADDRESS, letter=letter)


PICTURE = {
    "id": str(new_id()),
    "view": "left_side",
    "area": "left_rear_door",
    "moment": "before",
    "caption": "Dent below the handle",
    "links": {"320": "https://valet.example/p/320", "1280": "https://valet.example/p/1280"},
    "expires_at": "2027-07-08T10:00:00Z",
}


def html(message: EmailMultiAlternatives) -> str:
    ((content, mime_type),) = message.alternatives
    assert mime_type == "text/html"
    return str(content)


def test_it_says_what_happened_to_which_car_in_plain_words(settings: Settings) -> None:
    settings.TIME_ZONE = "Europe/London"
    message = notice({"job": JOB, "hold_id": str(new_id()), "cause": "parts", "reason": "Trim"})
    assert message.to == [ADDRESS]
    assert message.subject == "TU21 ABC: The job waits for something."
    for text in (str(message.body), html(message)):
        assert "The job waits for something." in text
        assert "TU21 ABC Corvane Lynd 1.4" in text
        for label, value in (
            ("Your reference", "PX-1042"),
            ("Stage", "ready"),
            ("Cause", "parts"),
            ("Reason", "Trim"),
            ("Happened", "Thu 1 Jul 2027, 10:30"),
            ("Wanted by", "Thu 3 Jun 2027, 17:00"),
        ):
            assert label in text
            assert value in text
        assert "Hold" not in text
        assert "VIN" not in text


def test_lists_flags_and_objects_are_readable_and_empty_members_are_left_out() -> None:
    text = str(
        notice(
            {
                "job": JOB,
                "changes": [{"field": "colour", "was": "Slate", "now": "Slate grey"}],
                "operations": ["wash_body", "vacuum"],
                "rework": False,
                "reason": "",
                "remarks": [],
                "until": None,
                "minutes": 0,
            }
        ).body
    )
    assert "Changes: field: colour, was: Slate, now: Slate grey" in text
    assert "Operations: wash body; vacuum" in text
    assert "Minutes: 0" in text
    for absent in ("Rework", "Reason", "Remarks", "Until"):
        assert absent not in text


def test_pictures_are_told_in_words_and_their_links_are_left_out() -> None:
    pictures = [PICTURE, {**PICTURE, "caption": "", "moment": "pair", "area": ""}]
    message = notice({"job": JOB, "pictures": pictures})
    said = "Dent below the handle (left side, left rear door, before); left side (pair)"
    for text in (str(message.body), html(message)):
        assert f"{said}. A key or a sign-in opens them." in text
        assert "valet.example/p" not in text
        assert "{" not in text


def test_members_of_a_list_are_told_without_their_ids() -> None:
    text = str(
        notice(
            {
                "job": JOB,
                "reminders": [
                    {"code": "belongings_here", "text": "Sign the gloves back.", "finding_id": "1"},
                    {"id": "2", "text": "Wipe the phone.", "photo_ids": ["3"]},
                ],
            }
        ).body
    )
    assert "Reminders: Sign the gloves back.; Wipe the phone.\n" in text


def test_a_letter_adds_facts_and_links_that_act() -> None:
    url = "https://valet.example/decide/a:b?x=1&y=<2>"
    letter = Letter(facts=(("Price", "45.00 GBP"),), links=(("Approve", url),))
    message = notice({"job": JOB}, letter=letter)
    assert f"Price: 45.00 GBP\n\nApprove:\n{url}\n" in str(message.body)
    assert 'href="https://valet.example/decide/a:b?x=1&amp;y=&lt;2&gt;"' in html(message)
    assert "45.00 GBP" in html(message)
    assert "href" not in html(notice({"job": JOB}))


def test_what_people_typed_is_escaped_in_html_and_left_alone_in_text() -> None:
    message = notice({"job": {**JOB, "model": "<b>&'"}, "reason": "<script>alert(1)</script>"})
    assert "<script>alert(1)</script>" in str(message.body)
    assert "<b>&'" in str(message.body)
    assert "<script" not in html(message)
    assert "&lt;script&gt;" in html(message)


def test_a_registration_with_line_breaks_cannot_add_a_header() -> None:
    message = notice({"job": {**JOB, "registration": "TU21\r\nBcc: x@y.example"}})
    parsed = message.message()
    assert parsed["Bcc"] is None
    assert "\n" not in message.subject


def test_a_test_notice_has_no_car_and_still_reads_well() -> None:
    message = notice({"endpoint_id": str(new_id())}, kind="endpoint.tested")
    assert message.subject.startswith("A test notice")
    assert "None" not in str(message.body)


def test_a_type_no_longer_registered_is_still_told() -> None:
    assert notice({"job": JOB}, kind="job.vanished").subject == "TU21 ABC: job.vanished"


def test_it_is_marked_as_automatic_and_with_the_events_id(settings: Settings) -> None:
    settings.PUBLIC_URL = "https://valet.example"
    ready_notice = Notice(new_id(), "job.ready", '{"timestamp":"2027-03-01T09:30:00Z","data":{}}')
    first = notice_mail(notice=ready_notice, address=ADDRESS).message()
    again = notice_mail(notice=ready_notice, address=ADDRESS).message()
    assert first["Message-ID"] == again["Message-ID"] == f"<{ready_notice.id}@valet.example>"
    assert first["X-Shutline-Event"] == str(ready_notice.id)
    assert first["Auto-Submitted"] == "auto-generated"
    assert first["Date"]


@pytest.mark.django_db(transaction=True)
def test_a_notice_reaches_a_real_mail_server(
    mail_server: MailServer, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    add_endpoint(ADDRESS, channel="email", secret="")
    event = add_event()
    report = deliver()
    assert (report.delivered, report.failed) == (1, 0)
    (message,) = mail_server.messages
    assert message["X-Shutline-Event"] == str(event.id)
    assert message["To"] == ADDRESS
    assert Delivery.objects.get().state == "delivered"
    assert Attempt.objects.get().error == ""


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("refusal", ["550 no such person", "451 try later"])
def test_a_refused_recipient_is_a_failure_that_is_tried_again(
    refusal: str, mail_server: MailServer, add_endpoint: AddEndpoint, add_event: AddEvent
) -> None:
    mail_server.refusal = refusal
    endpoint = add_endpoint(ADDRESS, channel="email", secret="")
    add_event()
    deliver()
    delivery = Delivery.objects.get()
    assert (delivery.state, delivery.tries) == ("waiting", 1)
    assert delivery.last_error == f"The mail server refused the recipient: {refusal}"
    endpoint.refresh_from_db()
    assert endpoint.failing_since is not None
    assert endpoint.state == "on"


@pytest.mark.django_db(transaction=True)
def test_a_mail_server_that_is_down_is_a_failure_that_is_tried_again(
    add_endpoint: AddEndpoint, add_event: AddEvent, settings: Settings
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    add_endpoint(ADDRESS, channel="email", secret="")
    add_event()
    deliver()
    delivery = Delivery.objects.get()
    assert delivery.state == "waiting"
    assert delivery.last_error == "The mail server refused the connection."
