"""The workshop's desk in a real browser: an order accepted, minutes set, the day printed."""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from core.clock import now
from tests.browser.founded import FoundedDay
from tests.reliability.service import Service

pytestmark = pytest.mark.browser
A4 = {"width": 794, "height": 1123}  # at 96 pixels an inch


def signed_in(browser: Browser, service: Service, person: Any, **how: Any) -> BrowserContext:
    """Return a browser of its own in which somebody is signed in."""
    context = browser.new_context(base_url=service.url, **how)
    page = context.new_page()
    page.goto("/sign-in")
    page.get_by_label("E-mail address").fill(person["email"])
    page.get_by_label("Password").fill(person["password"])
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text(person["name"]).first.wait_for()
    page.close()
    return context


@pytest.fixture
def desk(browser: Browser, service: Service, day: FoundedDay) -> Iterator[Page]:
    """Open the manager's browser at a desk's size."""
    size = {"width": 1440, "height": 900}
    context = signed_in(browser, service, day.people["manager"], viewport=size)
    yield context.new_page()
    context.close()


def row_of(page: Page, mark: str) -> Any:
    """Return the line of a car in the list."""
    return page.get_by_role("row").filter(has_text=mark)


def test_an_order_is_accepted_minutes_set_due_read_and_the_log_printed(desk: Page) -> None:
    desk.goto("/desk/")
    orders = desk.get_by_role("region", name="Orders to answer (1)")
    orders.get_by_role("button", name="Accept TX22 NEW").click()
    expect(desk.get_by_role("status")).to_have_text(
        "TX22 NEW is accepted; the dealer has been told."
    )
    expect(row_of(desk, "TX22 NEW")).to_contain_text("not here yet")
    expect(desk.get_by_text("Orders to answer")).to_have_count(0)

    row_of(desk, "TU21 ABC").get_by_role("link").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text("Corvane Lynd 1.4")
    expect(desk.get_by_text("64.00 GBP")).to_be_visible()

    desk.get_by_role("link", name="Due", exact=True).click()
    expect(desk.get_by_text("First set how many minutes of work")).to_be_visible()
    for name in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"):
        desk.get_by_label(name, exact=True).fill("6000")  # more than was worked by any hour
    desk.get_by_role("button", name="Set the minutes").click()
    expect(desk.get_by_role("status")).to_have_text("The minutes of each day are set.")
    today = desk.get_by_role("row").filter(has_text="Today,")
    expect(today).to_contain_text(re.compile(r"\d+ min of \d+"))
    assert drawn_widths(desk) == [100.0] * 14

    desk.get_by_role("link", name="Day's log").click()
    expect(desk.get_by_role("row").filter(has_text="The order was accepted.")).to_have_count(1)
    looks_right_on_paper(desk)


def drawn_widths(page: Page) -> list[float]:
    """Return the width of each day's drawing, as parts of a hundred."""
    widths = """bars => bars.map(bar => Math.max(...[...bar.querySelectorAll("rect")]
        .map(block => Number(block.getAttribute("x")) + Number(block.getAttribute("width")))))"""
    return [round(width, 0) for width in page.locator("svg.load").evaluate_all(widths)]


def looks_right_on_paper(page: Page) -> None:
    """Hold the page against what paper needs: what happened, without what is for a screen."""
    page.set_viewport_size(A4)  # type: ignore[arg-type]
    page.emulate_media(media="print", color_scheme="light")
    for gone in ("navigation", "textbox", "button", "combobox"):
        assert page.get_by_role(gone).filter(visible=True).count() == 0
    for kept in ("columnheader", "row"):
        assert page.get_by_role(kept).filter(visible=True).count() > 1
    assert page.evaluate("document.documentElement.scrollWidth") <= A4["width"]
    ink = "getComputedStyle(document.body).color + getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ink) == "rgb(0, 0, 0)rgb(255, 255, 255)"
    assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
    page.emulate_media(media="screen")


def test_the_list_shows_by_itself_what_happened_at_the_tablet(
    desk: Page, service: Service, day: FoundedDay, browser: Browser
) -> None:
    desk.goto("/desk/?stage=cleaning")
    expect(row_of(desk, "UB68 TRW")).to_contain_text("waits: parts")
    context = signed_in(browser, service, day.people["owner"])
    owner_page = context.new_page()
    owner_page.goto(f"/desk/cars/{day.places['held_car']}")
    owner_page.get_by_role("link", name="Release").click()
    owner_page.get_by_role("button", name="Release the hold").click()
    expect(owner_page.get_by_role("status")).to_contain_text("is released from waiting for parts")
    context.close()
    expect(row_of(desk, "UB68 TRW")).not_to_contain_text("waits: parts")
    assert desk.url.endswith("/desk/?stage=cleaning")


def test_a_car_is_declined_moved_and_asked_about_without_a_script(
    browser: Browser, service: Service, day: FoundedDay
) -> None:
    context = signed_in(browser, service, day.people["manager"], java_script_enabled=False)
    page = context.new_page()
    page.goto(f"/desk/cars/{day.places['curing_car']}")
    page.get_by_role("link", name="Move to another stage").click()
    page.get_by_label("ready", exact=True).check()
    page.get_by_role("button", name="Move the car").click()
    expect(page.get_by_role("alert")).to_contain_text("Nobody has felt yet whether it is dry")
    expect(page.get_by_label("ready", exact=True)).to_be_checked()
    page.get_by_label("Let it go on although").check()
    page.get_by_label("Reason").fill("The dealer fetches it and lets it cure there.")
    page.get_by_role("button", name="Move the car").click()
    expect(page.get_by_role("status")).to_contain_text("is in ready now")
    page.goto(f"/desk/cars/{day.places['car']}/requests")
    page.get_by_label("What you propose").fill("Clean both headlamp lenses")
    page.get_by_label("Why").fill("They are yellow.")
    page.get_by_label("What happens if it is not done").fill("They stay yellow.")
    page.get_by_label("Restore headlamp lenses").check()
    page.get_by_label("Minutes in all").fill("40")
    page.get_by_label("Price in GBP").fill("35.00")
    tomorrow = now() + timedelta(days=1)
    page.get_by_label("Answer wanted by").fill(f"{tomorrow:%Y-%m-%dT%H:%M}")
    page.get_by_role("button", name="Send it to the dealer").click()
    expect(page.get_by_text("35.00 GBP")).to_be_visible()
    page.goto("/desk/waiting")
    expect(page.get_by_role("region", name="On the dealer")).to_contain_text(
        "Clean both headlamp lenses"
    )
    context.close()
