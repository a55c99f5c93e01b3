"""The dealer's dashboard in a real browser: it refreshes itself, and takes lists and forms once."""

import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Response, Route, expect

from tests.browser.conftest import TABLET
from tests.browser.founded import FoundedDay, founded_day
from tests.reliability.service import Service, wait_until

pytestmark = pytest.mark.browser
POLL_MS = 10_000  # as the page says in data-every
SLOWEST_MS = 120_000  # between two polls while nothing answers
MOST_LINES = 500
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
    one = browser.new_context(viewport=TABLET)  # type: ignore[arg-type]
    tab = one.new_page()
    tab.goto(f"{service.url}/sign-in")
    tab.get_by_label("E-mail address").fill(day.people["staff"]["email"])
    tab.get_by_label("Password").fill(day.people["staff"]["password"])
    tab.get_by_role("button", name="Sign in").click()
    tab.wait_for_url("**/dashboard/")
    tab.close()
    yield one
    one.close()


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
    """Let the time of so many polls go by, each until the page waits for its next."""
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


def test_a_car_is_sent_by_form_and_a_double_press_sends_it_once(
    context: BrowserContext, service: Service
) -> None:
    tab = context.new_page()
    tab.goto(f"{service.url}/dashboard/new")
    tab.get_by_label("VIN", exact=False).first.wait_for(state="attached")
    tab.get_by_label("Registration").fill("tj22 zzz")
    tab.get_by_label("Full valet").check()
    tab.get_by_label("Wanted back").fill("2099-03-05T16:00")
    tab.get_by_role("button", name="Send", exact=True).dblclick()
    expect(tab.get_by_role("heading", level=1)).to_contain_text("TJ22 ZZZ")
    tab.goto(f"{service.url}/dashboard/?q=TJ22ZZZ")
    expect(tab.get_by_role("link", name="TJ22 ZZZ")).to_have_count(1)


def test_a_list_of_500_shows_its_progress_and_goes_on_after_the_page_was_closed(
    context: BrowserContext, service: Service, tmp_path: Path
) -> None:
    lines = [
        f"L-{index},TU{10 + index // 26} {chr(65 + index % 26)}LV" for index in range(MOST_LINES)
    ]
    lines[7] = "L-7,"
    sheet = tmp_path / "cars.csv"
    sheet.write_text("\n".join(["dealer_ref,registration", *lines]))
    tab = context.new_page()
    steps: list[int] = []

    def stop_after_two(route: Route) -> None:
        """Let two steps through and lose the network then."""
        steps.append(1)
        if len(steps) > 2:
            route.abort()
        else:
            route.continue_()

    tab.route("**/go-on", stop_after_two)
    tab.goto(f"{service.url}/dashboard/imports/new")
    tab.get_by_label("The file").set_input_files(sheet)
    tab.get_by_role("button", name="Send the list").click()
    expect(tab.get_by_text("50 of 500 lines are done")).to_be_visible()
    expect(tab.get_by_role("button", name="Go on")).to_be_visible()
    tab.unroute("**/go-on")
    tab.get_by_role("button", name="Go on").click()
    expect(tab.get_by_text("50 of 500 lines are done")).to_have_count(0)
    address = tab.url
    tab.close()

    again = context.new_page()
    again.goto(address)
    expect(again.get_by_role("progressbar")).to_be_visible()
    said = again.get_by_role("status")
    expect(said).to_contain_text("499 of 500 cars are with the workshop; 1 was refused.")
    expect(again.get_by_role("heading", name="Refused 1")).to_be_visible()
    with again.expect_download() as download:
        again.get_by_role("link", name="Download the refused lines").click()
    text = Path(download.value.path()).read_text()
    assert "L-7" in text
    assert len(text.splitlines()) == 2


def test_the_story_prints_without_what_only_a_screen_needs(
    context: BrowserContext, service: Service, day: FoundedDay
) -> None:
    tab = context.new_page()
    tab.goto(f"{service.url}/dashboard/cars/{day.places['car']}")
    tab.emulate_media(media="print")
    assert tab.locator("button:visible, nav:visible, textarea:visible").count() == 0
    expect(tab.get_by_role("heading", name="Before and after")).to_be_visible()
    expect(tab.get_by_role("heading", name="What happened")).to_be_visible()


def test_without_a_script_a_list_is_taken_in_by_pressing_a_button(
    browser: Browser, context: BrowserContext, service: Service, tmp_path: Path
) -> None:
    sheet = tmp_path / "few.csv"
    sheet.write_text("dealer_ref,registration\n" + "\n".join(f"N-{n},UK6{n} ZZA" for n in range(3)))
    bare = browser.new_context(java_script_enabled=False, storage_state=context.storage_state())
    tab = bare.new_page()
    tab.goto(f"{service.url}/dashboard/imports/new")
    tab.get_by_label("The file").set_input_files(sheet)
    tab.get_by_role("button", name="Send the list").click()
    tab.get_by_role("button", name="Go on").click()
    expect(tab.get_by_text("3 of 3 cars are with the workshop.")).to_be_visible()
    bare.close()
