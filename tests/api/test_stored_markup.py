"""Markup in what people and systems send shows as text: on every page, in e-mail, in files."""

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from html.parser import HTMLParser

import pytest
from django.core.mail import EmailMultiAlternatives
from django.db import transaction
from django.test import Client
from pytest_django import DjangoDbBlocker

from notifications.letter import Letter
from notifications.mail import notice_mail
from notifications.models import Event
from notifications.notice import Notice
from tests.api.asking import token_of
from tests.api.steps import fields
from tests.browser.day import Day
from tests.browser.marked import MARKUP, NAMES, marked_day
from tests.browser.pages_list import every_page
from tests.scene import Scene, person_api

pytestmark = pytest.mark.django_db  # else no database is made for the pages
FORMULAS = ("=", "+", "-", "@", "\t", "\r")
DATA = "application/json"
# What stands in the API, in a file, or under a page that is reached by a tap only.
ON_NO_PAGE = {"seller", "line make", "spot", "group", "caution", "package"}


class Elements(HTMLParser):
    """Reads a page as a browser would: what would act, and what is read as text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.acting: list[str] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        foreign = tag == "script" and not attributes.get("src") and attributes.get("type") != DATA
        foreign |= tag == "img" and attributes.get("src") == "x"
        if foreign or any(name.startswith("on") for name in attributes):
            self.acting.append(self.get_starttag_text() or tag)
        # What stands in a field, a title or a label is read as well.
        self.text += [value for value in attributes.values() if value]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@dataclass(frozen=True)
class Sent:
    """What every page of the marked day sends, by its name, and the e-mail of every event."""

    pages: Mapping[str, str]
    mails: Sequence[tuple[str, EmailMultiAlternatives]]


@pytest.fixture(scope="module")
def sent(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Sent:
    """Make the marked day once, keep what is sent, and undo it."""
    del django_db_setup
    with django_db_blocker.unblock(), transaction.atomic():
        day = marked_day()
        kept = Sent(dict(_asked(day)), list(_mails()))
        transaction.set_rollback(True)
    return kept


@pytest.fixture
def pages(sent: Sent) -> Mapping[str, str]:
    return sent.pages


def _asked(day: Day) -> Iterator[tuple[str, str]]:
    for page in every_page():
        client = (
            Client() if page.who == "nobody" else person_api(getattr(day.scene, page.who)).client
        )
        address = page.address.format(**day.places)
        answer = client.get(address, headers={"Accept": "text/html"})
        assert answer.status_code in {200, 404}, page
        yield page.name, answer.content.decode()
    link = f"/decide/{token_of({'id': day.places['request']})}"
    yield "decision", Client().get(link).content.decode()
    car = day.places["car"]
    for part in (f"/api/v1/jobs/{car}/paint.svg", f"/api/v1/jobs/{car}/plan.svg"):
        yield part, person_api(day.scene.staff).client.get(part).content.decode()
    kept = f"/dashboard/imports/{day.places['import']}/refused.csv"
    yield "csv", person_api(day.scene.staff).client.get(kept).content.decode()


def _mails() -> Iterator[tuple[str, EmailMultiAlternatives]]:
    for event in Event.objects.order_by("number"):
        notice = Notice(event.id, event.type, event.body, event.letter)
        letter = Letter.opened(event.letter)
        yield (
            event.type,
            notice_mail(notice=notice, address="ines@brackmoor.example", letter=letter),
        )


def test_no_page_holds_an_element_that_somebody_sent(pages: Mapping[str, str]) -> None:
    acting = {name: Elements(html).acting for name, html in pages.items() if name != "csv"}
    assert {name: found for name, found in acting.items() if found} == {}
    assert len(acting) > 30


def test_no_page_holds_the_markup_as_it_was_sent(pages: Mapping[str, str]) -> None:
    found = [name for name, html in pages.items() if MARKUP in html and name != "csv"]
    assert found == []


def test_everything_that_was_sent_is_read_as_text_somewhere(pages: Mapping[str, str]) -> None:
    said = " ".join(" ".join(Elements(html).text) for html in pages.values())
    assert {name for name, text in NAMES.items() if text not in said} <= ON_NO_PAGE
    assert len(NAMES) > 30


@pytest.mark.parametrize("name", ["tablet-car", "dashboard-car", "desk-car", "notices-webhook"])
def test_the_pages_of_one_car_and_of_notices_show_it_as_text(
    pages: Mapping[str, str], name: str
) -> None:
    assert escape(MARKUP) in pages[name]


def test_a_registration_or_a_vin_of_markup_is_refused_and_shown_as_text(scene: Scene) -> None:
    answer = scene.dealer_api().post("/work-orders", {"registration": MARKUP, "vin": MARKUP})
    assert fields(answer) == ["registration", "vin"]
    staff = person_api(scene.staff).client
    typed = {"registration": MARKUP, "vin": MARKUP, "make": "Corvane"}
    refused = staff.post("/dashboard/new", typed)
    assert refused.status_code == 400
    page = Elements(refused.content.decode())
    assert page.acting == []
    assert MARKUP in page.text  # nothing typed is lost


def test_the_html_of_every_e_mail_escapes_and_its_subject_is_one_line(sent: Sent) -> None:
    said: list[str] = []
    for kind, mail in sent.mails:
        ((html, type_),) = [(str(part[0]), part[1]) for part in mail.alternatives]
        assert type_ == "text/html"
        page = Elements(html)
        assert page.acting == [], kind
        assert MARKUP not in html, kind
        said += page.text
        assert len(mail.subject.splitlines()) == 1, kind
    text = " ".join(said)
    for name in ("reference", "make", "noticed", "what", "hold", "rework", "question", "reply"):
        assert NAMES[name] in text, name
    assert len(sent.mails) > 40


def test_a_reference_of_two_lines_adds_no_header_to_an_e_mail(scene: Scene) -> None:
    lines = "PX\nBcc: everybody@brackmoor.example"
    order = {"vin": "1M8GDM9AXKP042788", "dealer_ref": lines, "make": f"Corvane\n{MARKUP}"}
    answer = scene.dealer_api().post("/work-orders", order)
    assert answer.status_code == 201, answer.content
    event = Event.objects.get(type="work_order.received")
    kept = lines.replace("\n", " ")
    assert json.loads(event.body)["data"]["job"]["dealer_ref"] == kept
    # As it was kept before line breaks were left out of what is sent.
    of_before = event.body.replace(json.dumps(kept), json.dumps(lines))
    assert of_before != event.body
    notice = Notice(event.id, event.type, of_before)
    message = notice_mail(notice=notice, address="ines@brackmoor.example").message()
    assert "Bcc" not in list(message)
    assert "\n" not in str(message["Subject"])


def test_a_cell_of_a_file_never_begins_as_a_formula_does(pages: Mapping[str, str]) -> None:
    rows = list(csv.reader(io.StringIO(pages["csv"], newline="")))
    cells = [cell for row in rows for cell in row if cell]
    assert [cell for cell in cells if cell.startswith(FORMULAS)] == []
    assert any("=1+1" in cell for cell in cells)


def test_the_reader_of_these_tests_would_see_what_acts() -> None:
    for html in (MARKUP, "<p onclick='x'>", f'<input value="{MARKUP}', "<img src=x onerror=x>"):
        assert Elements(html).acting, html
    assert Elements(f"<p>{escape(MARKUP)}</p>").acting == []
