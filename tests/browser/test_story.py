"""One car's whole way through the pages, with a real worker, on the form of the service at hand.

The dealer posts it by form, the valeter takes it through all stages on the tablet with a finding, a
picture and a decision, the dealer sees it ready; every notice arrives, signed.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Response, expect

from tests.api.pictures import encoded
from tests.browser.conftest import TABLET
from tests.notifications.receiver import Receiver
from tests.reliability.service import wait_until
from tests.reliability.world import FORMS, World, founded
from tests.scene import PASSWORD

pytestmark = pytest.mark.browser
PATH = "/hooks"
STAFF, VALETER = "ines@brackmoor.example", "tam@fernhollow.example"
# In a process of its own: the service's database is not the one that the test's Django uses.
PEOPLE = f"""
import django
django.setup()
from accounts.models import Organisation
from accounts.services import person_add
for name, email, role, where in (
    ("Ines Okafor-Lind", "{STAFF}", "staff", "Brackmoor Cars"),
    ("Tam Brackley", "{VALETER}", "valeter", "Fernhollow Valeting"),
):
    organisation = Organisation.objects.get(name=where)
    person_add(
        organisation=organisation, email=email, name=name, role=role, password="{PASSWORD}"
    )
"""
TOLD = [
    "work_order.received",
    "work_order.accepted",
    "job.arrived",
    "job.stage_changed",
    "finding.reported",
    "finding.acknowledged",
    "request.opened",
    "request.answered",
    "job.stage_changed",
    "job.stage_changed",
    "job.stage_changed",
    "job.ready",
]


@pytest.fixture(params=FORMS)
def world(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[World]:
    with founded(request.param, tmp_path, SHUTLINE_UNDO_SECONDS="1") as founded_world:
        founded_world.python("-c", PEOPLE)
        founded_world.start()
        yield founded_world


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as running:
        yield running


def visitor(browser: Browser, world: World, email: str) -> BrowserContext:
    """Return a browser in which somebody signed in at the door."""
    context = browser.new_context(viewport=TABLET)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(f"{world.url}/sign-in")
    page.get_by_label("E-mail address").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).not_to_have_text("Sign in")
    return context


def button(page: Page, name: str) -> Locator:
    """Return the button of this name that is to be seen, words for those who hear it included."""
    heard = re.compile(" ?".join(map(re.escape, re.split("(?=:)", name))))
    return page.get_by_role("button", name=heard)


def send_a_car(page: Page, url: str) -> None:
    """Post a work order by the dealer's form."""
    page.goto(f"{url}/dashboard/new")
    page.get_by_label("Registration").fill("tu21 abc")
    page.get_by_label("Your stock number").fill("PX-1042")
    page.get_by_label("Make").fill("Corvane")
    page.get_by_label("Model").fill("Lynd 1.4")
    page.get_by_text("Single operations").click()
    page.get_by_label("Wash and dry the body").check()
    page.get_by_label("Notes for the workshop").fill("Sold: collected tomorrow.")
    button(page, "Send").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("TU21 ABC")


def answers_action(answer: Response) -> bool:
    """Return whether it answers an action of the tablet's queue."""
    return answer.request.method == "POST" and "/api/v1/jobs/" in answer.url


class Bay:
    """The valeter's tablet, with one car open on it."""

    def __init__(self, page: Page, url: str) -> None:
        self.page = page
        page.goto(f"{url}/tablet/")
        page.get_by_role("link", name="TU21 ABC").click()
        page.wait_for_url("**/tablet/cars/*")
        self.address = page.url

    def tap(self, name: str) -> None:
        """Tap a button, and see the car as it is when what was done has been sent and taken."""
        with self.page.expect_response(answers_action) as answer:
            button(self.page, name).click()
        assert answer.value.ok, answer.value.text()
        self.page.goto(self.address)

    def stage(self) -> str:
        """Return where the car is by the page."""
        return self.page.locator(".steps [aria-current]").inner_text()

    def report(self) -> None:
        """Report a finding with a picture, in five taps."""
        self.page.get_by_role("link", name="Report a finding").first.click()
        self.page.locator("label[for=at-bonnet]").click()
        self.page.locator("[data-fitting] label").first.click()
        picture = {"name": "picture.jpg", "mimeType": "image/jpeg", "buffer": encoded()}
        self.page.set_input_files("#picture", picture)  # type: ignore[arg-type]
        with self.page.expect_response(lambda answer: answer.url.endswith("/findings")):
            button(self.page, "Send the finding").click()
        self.page.wait_for_url(self.address)

    def ask(self) -> None:
        """Ask the dealer for extra work."""
        page = self.page
        page.get_by_text("Ask the dealer for extra work").click()
        page.get_by_label("What should be done").fill("Spot-polish the bonnet")
        page.get_by_label("Why", exact=False).and_(page.locator("#ask-why")).fill("Bird lime.")
        page.get_by_label("What if it is not done").fill("The marks stay.")
        page.locator("label[for=ask-polish_spot]").click()
        page.get_by_label("Minutes in all").fill("45")
        self.tap("Ask the dealer")


def decide(page: Page, url: str) -> None:
    """Acknowledge the finding and approve the work, a tap each."""
    page.goto(f"{url}/dashboard/")
    button(page, "Acknowledge").first.click()
    expect(button(page, "Acknowledge")).to_have_count(0)
    page.get_by_role("button", name="Approve").first.click()
    expect(page.get_by_role("button", name="Approve")).to_have_count(0)


def test_a_car_goes_its_whole_way_through_the_pages(
    browser: Browser, world: World, receiver: Receiver
) -> None:
    system = world.dealer()
    hook = system.post("/webhook-endpoints", {"url": receiver.url(PATH)}, status=201).json
    dealer = visitor(browser, world, STAFF)
    send_a_car(dealer.pages[0], world.url)

    bay = Bay(visitor(browser, world, VALETER).pages[0], world.url)
    bay.tap("It is here: record its arrival")
    bay.tap("Move to cleaning")
    bay.tap("Start: Wash and dry the body")
    bay.tap("Finish: Wash and dry the body")
    bay.report()
    bay.ask()
    decide(dealer.pages[0], world.url)
    bay.page.goto(bay.address)
    bay.tap("Move to correction")
    bay.tap("Start: Spot-polish marks by machine")
    bay.tap("Finish: Spot-polish marks by machine")
    bay.page.get_by_text("Other moves").click()  # nothing on it cures, so ready would be next
    bay.tap("Move to curing")
    bay.tap("Move to ready")
    assert bay.stage() == "ready"

    page = dealer.pages[0]
    page.goto(f"{world.url}/dashboard/")
    ready = page.get_by_role("region", name="Ready")
    expect(ready).to_contain_text("TU21 ABC")
    expect(ready).to_contain_text("to be fetched")
    check_notices(receiver, hook["secret"], system)
    dealer.close()
    bay.page.context.close()


def check_notices(receiver: Receiver, secret: str, system: Any) -> None:
    """Hold every notice that arrived against its signature and its place in the story."""

    def told() -> list[str]:
        notices = [json.loads(request.body) for request in receiver.at(PATH)]
        return [notice["type"] for notice in notices if notice["type"] in TOLD]

    wait_until(lambda: len(told()) >= len(TOLD), "every notice")
    assert sorted(told()) == sorted(TOLD)
    verified = [request.verify(secret) for request in receiver.at(PATH)]
    assert len({request.event_id for request in receiver.at(PATH)}) == len(verified)
    finding = next(notice for notice in verified if notice["type"] == "finding.reported")
    (picture,) = finding["data"]["pictures"]
    assert system.get(picture["links"]["320"].partition("/api/v1")[2]).body.startswith(b"\xff\xd8")
