"""The dealer's dashboard in a real browser: it refreshes itself, and is read."""

import re
from collections.abc import Iterator
from functools import partial

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Response, expect

from tests.browser.conftest import TABLET
from tests.browser.founded import FoundedDay, founded_day
from tests.reliability.service import Service, wait_until

pytestmark = pytest.mark.browser
POLL_MS = 10_000  # as the page says in data-every
SLOWEST_MS = 120_000  # between two polls while nothing answers
# Counts the waits for a poll, which begin when the answer before it has been worked in.
COUNT_WAITS = """
window.waitsBegun = 0;
const wait = window.setTimeout;
window.setTimeout = (work, ms, ...rest) => {
  if (ms >= 5000) window.waitsBegun += 1;
  return wait(work, ms, ...rest);
};
"""
# What a browser says of a page that lies behind another.
HIDE = """
({hidden}) => {
  Object.defineProperty(document, "hidden", {configurable: true, get: () => hidden});
  document.dispatchEvent(new Event("visibilitychange"));
}
"""


@pytest.fixture(scope="module")
def day(service: Service) -> FoundedDay:
    """Found the working day."""
    return founded_day(service)


@pytest.fixture
def context(browser: Browser, service: Service, day: FoundedDay) -> Iterator[BrowserContext]:
    """Sign the dealer's staff in."""
    staff_context = browser.new_context(viewport=TABLET)  # type: ignore[arg-type]
    tab = staff_context.new_page()
    tab.goto(f"{service.url}/sign-in")
    tab.get_by_label("E-mail address").fill(day.people["staff"]["email"])
    tab.get_by_label("Password").fill(day.people["staff"]["password"])
    tab.get_by_role("button", name="Sign in").click()
    tab.wait_for_url("**/dashboard/")
    tab.close()
    yield staff_context
    staff_context.close()


@pytest.fixture
def polls(context: BrowserContext) -> list[int]:
    """Return a list that every poll's status is added to."""
    statuses: list[int] = []

    def note(answer: Response) -> None:
        if answer.url.endswith("/dashboard/board"):
            statuses.append(answer.status)

    context.on("response", note)
    return statuses


def board(context: BrowserContext, service: Service) -> Page:
    """Open the dashboard with its clock in our hands."""
    tab = context.new_page()
    tab.clock.install()
    tab.add_init_script(COUNT_WAITS)
    tab.goto(f"{service.url}/dashboard/")
    expect(tab.get_by_role("heading", name="Ready", exact=False).first).to_be_visible()
    return tab


def turn(tab: Page, times: int = 1, each_ms: int = POLL_MS) -> None:
    """Move on by the time of so many polls, each until the page waits for its next."""
    begun = waits_begun(tab)
    for nth in range(1, times + 1):
        tab.clock.run_for(each_ms + 500)
        wait_until(partial(has_begun, tab, begun + nth), "the wait for the next poll")


def has_begun(tab: Page, waits: int) -> bool:
    return waits_begun(tab) >= waits


def waits_begun(tab: Page) -> int:
    """Return how often the page has begun to wait for its next poll."""
    begun: int = tab.evaluate("window.waitsBegun")
    return begun


def test_it_asks_again_while_it_is_looked_at_and_not_while_it_is_hidden(
    context: BrowserContext, service: Service, polls: list[int]
) -> None:
    tab = board(context, service)
    turn(tab, 3)
    assert polls == [304, 304, 304]
    tab.evaluate(HIDE, {"hidden": True})
    tab.clock.run_for(4 * POLL_MS)
    assert len(polls) == 3
    before = waits_begun(tab)
    tab.evaluate(HIDE, {"hidden": False})  # at once, not only after the next ten seconds
    wait_until(lambda: waits_begun(tab) > before, "the poll of a page that is seen again")
    assert polls == [304] * 4
    turn(tab)
    assert polls == [304] * 5


def test_what_a_colleague_did_comes_by_itself_and_nothing_is_lost_on_the_page(
    context: BrowserContext, service: Service, day: FoundedDay, polls: list[int]
) -> None:
    tab = board(context, service)
    tab.get_by_label("Registration, stock number or VIN").fill("half typed")
    colleague = context.new_page()
    colleague.goto(f"{service.url}/dashboard/cars/{day.places['coming_car']}/cancel")
    colleague.get_by_role("button", name="Cancel the order").click()
    expect(colleague.get_by_text("Cancelled. The workshop knows.")).to_be_visible()
    turn(tab)
    expect(tab.locator("#lately")).to_contain_text("UT70 FEN")
    expect(tab.get_by_text("Not at the workshop yet")).to_have_count(0)
    assert polls == [200]
    expect(tab.get_by_label("Registration, stock number or VIN")).to_have_value("half typed")
    turn(tab)
    assert polls == [200, 304]


def test_a_service_that_does_not_answer_is_told_and_what_is_shown_stays(
    context: BrowserContext, service: Service
) -> None:
    tab = board(context, service)
    tab.route("**/dashboard/board", lambda route: route.abort())
    turn(tab, 4, SLOWEST_MS)
    expect(tab.get_by_text("No answer from the service.")).to_be_visible()
    expect(tab.get_by_role("heading", name="Ready", exact=False).first).to_be_visible()
    tab.unroute("**/dashboard/board")
    turn(tab, 1, SLOWEST_MS)
    expect(tab.get_by_text("No answer from the service.")).to_be_hidden()


def test_a_finding_is_acknowledged_from_a_board_that_refreshed_itself(
    context: BrowserContext, service: Service, polls: list[int]
) -> None:
    tab = board(context, service)
    turn(tab)
    before = tab.get_by_role("button", name=re.compile("^Acknowledge")).count()
    assert before
    tab.get_by_role("button", name=re.compile("^Acknowledge")).first.click()
    expect(tab.get_by_text("Acknowledged.")).to_be_visible()
    assert tab.get_by_role("button", name=re.compile("^Acknowledge")).count() == before - 1
    assert tab.url.endswith("/dashboard/")
    assert polls


def test_the_story_prints_without_what_only_a_screen_needs(
    context: BrowserContext, service: Service, day: FoundedDay
) -> None:
    tab = context.new_page()
    tab.goto(f"{service.url}/dashboard/cars/{day.places['car']}")
    tab.emulate_media(media="print")
    assert tab.locator("button:visible, nav:visible, textarea:visible").count() == 0
    expect(tab.get_by_role("heading", name="Before and after")).to_be_visible()
    expect(tab.get_by_role("heading", name="What happened")).to_be_visible()
