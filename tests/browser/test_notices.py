"""A journey through the pages about notices, with a real worker and a receiver that fails first."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.utils.timezone import localtime
from playwright.sync_api import Browser, Page, expect

from core.clock import now
from tests.browser.founded import FoundedDay, founded_by
from tests.notifications.receiver import Receiver, Reply
from tests.reliability.service import Service, with_tables

pytestmark = pytest.mark.browser
ENVIRONMENT = {
    "SHUTLINE_ALLOW_PLAIN_HTTP": "1",
    "SHUTLINE_OPEN_NETWORKS": "127.0.0.0/8",
    "SHUTLINE_RETRY_SECONDS": "0",  # one attempt, so that a failure is one to look after
    "SHUTLINE_DELIVERY_TIMEOUT_SECONDS": "30",  # the longest: what is held is let go by hand
}
SIZE = {"width": 1024, "height": 768}
CLOSED = Reply(503, b"Closed for <b>stocktaking</b> until noon")


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Run the embedded service, where notices may go to this machine."""
    folder = with_tables(tmp_path_factory.mktemp("notices"))
    with Service(folder, "--port", "0", environment=ENVIRONMENT) as running:
        running.wait_until_ready()
        yield running


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """Run a receiver."""
    with Receiver() as running:
        yield running


@pytest.fixture
def tab(browser: Browser, service: Service, day: FoundedDay) -> Iterator[Page]:
    """Open the list of notices as the dealer's staff; errors in the console fail the test."""
    context = browser.new_context(viewport=SIZE)  # type: ignore[arg-type]
    page, wrong = context.new_page(), []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"{service.url}/notices/")
    page.get_by_label("E-mail address").fill(day.people["staff"]["email"])
    page.get_by_label("Password").fill(day.people["staff"]["password"])
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Notices")
    yield page
    assert wrong == []
    context.close()


def add(tab: Page, address: str) -> str:
    """Add a webhook, and return its secret with its own page open."""
    tab.get_by_role("link", name="Add a webhook").click()
    tab.get_by_label("Address of the receiving system").fill(address)
    tab.get_by_role("button", name="Add a webhook").click()
    secret = tab.get_by_label("Secret").input_value()
    tab.get_by_role("link", name="I have copied it").click()
    return secret


def test_what_failed_is_seen_with_its_reason_sent_again_and_seen_to_arrive(
    tab: Page, receiver: Receiver
) -> None:
    receiver.answer("/in", CLOSED, Reply())
    secret = add(tab, receiver.url("/in"))
    tab.get_by_role("button", name="Send a test").click()
    line = tab.locator(".deliveries > li")
    expect(line).to_contain_text("Given up")  # by itself, without a reload
    expect(line).to_contain_text("The receiver is closed for the moment.")
    line.locator("summary").click()
    expect(line.locator("pre")).to_have_text("Closed for <b>stocktaking</b> until noon")
    expect(tab.get_by_text("On, but failing")).to_be_visible()
    tab.get_by_role("button", name="Send again").click()
    expect(line).to_contain_text("Arrived")
    expect(line).to_contain_text("2 attempts")
    expect(tab.get_by_text("On, but failing")).to_be_hidden()
    first, second = receiver.at("/in")
    assert first.event_id == second.event_id
    assert second.verify(secret)["type"] == "endpoint.tested"


def test_what_needs_somebody_stands_first_and_leads_to_what_was_given_up(tab: Page) -> None:
    needing = tab.get_by_role("region", name="Needs you")
    expect(needing).to_contain_text("http://127.0.0.1:9/hooks")
    expect(needing).to_contain_text("Nobody listens at this address.")
    needing.get_by_role("link", name="http://127.0.0.1:9/hooks").click()
    tab.get_by_label("State").select_option("failed")
    tab.get_by_label("What happened").select_option("job.ready")
    tab.get_by_role("button", name="Show these").click()
    lines = tab.locator(".deliveries > li")
    expect(lines).to_have_count(2)
    for line in lines.all():
        expect(line).to_contain_text("the car is ready to be collected")
    expect(lines.filter(has_text="JX19 KLM")).to_have_count(1)


def test_a_range_shows_its_progress_until_all_has_arrived(tab: Page, receiver: Receiver) -> None:
    receiver.answer("/range", Reply(held=True))
    secret = add(tab, receiver.url("/range"))
    tab.get_by_role("link", name="A range again").click()
    tab.get_by_role("button", name="Send them again").click()
    expect(tab.get_by_role("status")).to_have_text(re.compile(r"\d+ of \d+ done\."))
    receiver.release()
    expect(tab.get_by_text(re.compile(r"All \d+ arrived\."))).to_be_visible()
    found = re.search(r"All (\d+) arrived", tab.inner_text("main"))
    assert found
    arrived = receiver.at("/range")
    assert len(arrived) == int(found[1]) > 10
    assert len({request.event_id for request in arrived}) == len(arrived)
    assert all(request.verify(secret)["data"] for request in arrived)
    expect(tab.locator("[data-poll]")).to_have_attribute("data-poll", "")  # it asks no more


def test_a_range_of_thousands_goes_on_piece_by_piece_by_itself(
    tab: Page, receiver: Receiver, service: Service
) -> None:
    count = founded_by("tests.browser.founding_events", service)["count"]
    add(tab, receiver.url("/long"))
    tab.get_by_role("link", name="A range again").click()
    for label, days in (("From", 4), ("Until", 2)):
        moment = localtime(now() - timedelta(days=days))
        tab.get_by_role("textbox", name=label).fill(f"{moment:%Y-%m-%dT%H:%M}")
    tab.get_by_role("button", name="Send them again").click()
    expect(tab.get_by_text(f"All {count} arrived.")).to_be_visible()
    assert len({request.event_id for request in receiver.at("/long")}) == count
