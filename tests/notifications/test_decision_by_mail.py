"""A decision by the link in a real e-mail: sent by SMTP, followed, answered once and only once."""

import re
from email.message import Message
from html import unescape
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client

from jobs.work.models import HistoryEntry, Task
from notifications.engine.run import deliver
from notifications.models import Delivery
from tests.api.asking import opened, read, reply
from tests.api.pictures import upload
from tests.api.steps import arrived, done
from tests.figures import without_ids
from tests.notifications.mail_server import MailServer
from tests.notifications.receiver import Receiver
from tests.scene import Scene, person_api

pytestmark = pytest.mark.django_db(transaction=True)
CONTACT = "ines@brackmoor.example"
DESK = "desk@fernhollow.example"
PROOF = re.compile(r'name="csrfmiddlewaretoken" value="(\w+)"')


def part(message: Message, kind: str) -> str:
    """Return a part of the e-mail as its reader sees it."""
    (found,) = [piece for piece in message.walk() if piece.get_content_type() == kind]
    content = found.get_payload(decode=True)
    assert isinstance(content, bytes)
    return content.decode(found.get_content_charset() or "utf-8").replace("\r\n", "\n")


def links(message: Message) -> dict[str, str]:
    """Return the links of the e-mail's text by their labels; the HTML must have the same."""
    text = part(message, "text/plain")
    found = dict(re.findall(r"^(.+):\n(http\S+)$", text, re.MULTILINE))
    html = re.findall(r'<a href="([^"]+)"[^>]*>([^<]+)</a>', part(message, "text/html"))
    assert {label: unescape(url) for url, label in html} == found
    return found


def told_to(mail_server: MailServer, address: str, event: str) -> Message:
    """Return the newest e-mail to an address that tells of this."""
    messages = [message for message in mail_server.messages if message["To"] == address]
    return next(message for message in reversed(messages) if event in part(message, "text/plain"))


def follow(url: str) -> tuple[Client, str, Any]:
    """Open the link as a browser does; return the browser, the path, and the page."""
    browser, path = Client(enforce_csrf_checks=True), urlsplit(url).path
    return browser, path, browser.get(path)


def press(browser: Client, path: str, page: Any, word: str, **typed: str) -> Any:
    """Send the page's form."""
    (proof,) = PROOF.findall(page.content.decode())
    return browser.post(path, {"csrfmiddlewaretoken": proof, "answer": word, **typed})


def test_a_request_is_approved_by_the_link_in_a_received_mail_and_only_once(
    scene: Scene, mail_server: MailServer, receiver: Receiver
) -> None:
    manager, dealer = person_api(scene.manager), scene.dealer_api()
    done(dealer.post("/webhook-endpoints", {"url": receiver.url("/stock")}))
    desk = {"email": DESK, "event_types": ["request.opened", "request.answered"]}
    done(scene.workshop_api().post("/email-recipients", desk))
    job = arrived(scene, contact_email=CONTACT)
    photo = done(upload(manager, job, caption="Bonnet, left"))
    request = opened(manager, job, price="38.00", hold=True, photo_ids=[photo["id"]])
    deliver()

    message = told_to(mail_server, CONTACT, "proposes extra work")
    text = part(message, "text/plain")
    for said in ("Price: 38.00 GBP", "What: Machine-polish the bonnet", "Minutes: 45"):
        assert said in text
    assert "Pictures: Bonnet, left (detail). A key or a sign-in opens them." in text
    assert "The page shows the pictures." in text
    found = links(message)
    assert list(found) == ["Approve", "Decline", "Ask a question"]
    assert {urlsplit(url).fragment for url in found.values()} == {"approve", "decline", "ask"}

    first, path, page = follow(found["Approve"])
    assert page.status_code == 200
    second, _, same_page = follow(found["Decline"])
    answered = press(first, path, page, "approve", name="Ines")
    assert answered.status_code == 200
    stands = read(dealer, request)
    assert (stands["state"], stands["closed_by"]) == ("approved", "Ines (by the e-mail link)")
    assert stands["closed_way"] == "link"
    assert Task.objects.filter(operation="polish_spot").count() == 1

    for used in (
        press(first, path, page, "approve"),
        press(second, path, same_page, "decline"),
        follow(found["Approve"])[2],
    ):
        assert used.status_code == 409
        assert "This is approved already" in used.content.decode()
    assert read(dealer, request) == stands
    assert HistoryEntry.objects.filter(kind="request_closed").count() == 1
    assert Task.objects.filter(operation="polish_spot").count() == 1

    deliver()
    assert "Outcome: approved" in part(
        told_to(mail_server, DESK, "approved or declined"), "text/plain"
    )
    assert not Delivery.objects.exclude(state="delivered").exists()
    nobody_elses(mail_server, receiver, path)


def nobody_elses(mail_server: MailServer, receiver: Receiver, path: str) -> None:
    """Hold that the link and the price reached the dealer's e-mail alone."""
    workshops = [message for message in mail_server.messages if message["To"] == DESK]
    texts = [part(workshop, kind) for workshop in workshops for kind in ("text/plain", "text/html")]
    hooks = [request.body.decode() for request in receiver.at("/stock")]
    assert any("request.opened" in hook for hook in hooks)
    for text in (*texts, *hooks):
        assert path not in text
        assert "38.00" not in without_ids(text)


def test_a_question_by_mail_brings_a_fresh_link_with_the_reply(
    scene: Scene, mail_server: MailServer
) -> None:
    job = arrived(scene, contact_email=CONTACT)
    request = opened(scene.workshop_api(), job)
    deliver()
    old = links(told_to(mail_server, CONTACT, "proposes extra work"))["Ask a question"]
    browser, path, page = follow(old)
    asked = press(browser, path, page, "ask", text="Would a hand polish do?")
    assert asked.status_code == 200
    done(reply(scene.workshop_api(), request))
    deliver()
    message = told_to(mail_server, CONTACT, "replied to the dealer's question")
    assert "Reply: For a week or two only." in part(message, "text/plain")
    fresh = links(message)["Decline"]
    assert urlsplit(fresh).path != path
    assert follow(old)[2].status_code == 409
    browser, path, page = follow(fresh)
    assert press(browser, path, page, "decline").status_code == 200
    assert read(scene.dealer_api(), request)["state"] == "declined"
