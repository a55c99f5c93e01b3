"""The workshop's tablet in a real browser: made once, then everybody comes in with name and PIN."""

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.day import PIN
from tests.browser.founded import FoundedDay
from tests.browser.looking import SIZES, fits, small
from tests.reliability.service import Service

pytestmark = pytest.mark.browser
COOKIE = "shutline_device"
# The page drops the word that tells it of a new person as soon as it has read it.
THE_BOARD = re.compile(r"/tablet/(\?person=changed)?$")


def sign_in(page: Page, service: Service, person: Any) -> None:
    """Sign in with e-mail address and password."""
    page.goto(f"{service.url}/sign-in")
    page.get_by_label("E-mail address").fill(person["email"])
    page.get_by_label("Password").fill(person["password"])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(re.compile("/(desk|tablet|dashboard)/"))


def made_tablet(context: BrowserContext, service: Service, person: Any) -> Page:
    """Make a browser the workshop's tablet, as somebody who then signs out."""
    page = context.new_page()
    sign_in(page, service, person)
    page.goto(f"{service.url}/tablet/who")
    page.get_by_label("Name of the tablet").fill("Wash bay 1")
    page.get_by_role("button", name="Make this the workshop's tablet").click()
    expect(page.get_by_text("This is the workshop's tablet now: Wash bay 1.")).to_be_visible()
    context.clear_cookies(name="sessionid")
    return page


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def tablet(
    browser: Browser, service: Service, day: FoundedDay, request: pytest.FixtureRequest
) -> Iterator[Page]:
    """Return the workshop's tablet, on which nobody is signed in."""
    context = browser.new_context(
        viewport={"width": 1024, "height": 768},
        java_script_enabled=request.param,
        service_workers="block",
    )
    yield made_tablet(context, service, day.people["owner"])
    context.close()


def is_here(page: Page, service: Service, name: str) -> bool:
    """Return whether somebody is who is signed in."""
    page.goto(f"{service.url}/me")
    return name in page.get_by_role("heading", level=1).inner_text()


def test_everybody_comes_in_with_name_and_pin(
    tablet: Page, service: Service, day: FoundedDay
) -> None:
    address = f"{service.url}/tablet/"
    for role in ("valeter", "manager"):
        name = day.people[role]["name"]
        tablet.goto(f"{service.url}/tablet/who" if role == "manager" else address)
        tablet.get_by_role("link", name=name).click()
        pad = tablet.get_by_role("group", name="Digits")
        if pad.is_visible():
            for digit in PIN:
                pad.get_by_role("button", name=digit, exact=True).click()
        else:
            tablet.get_by_label("PIN").fill(PIN)
        tablet.get_by_role("button", name=f"I am {name}").click()
        tablet.wait_for_url(THE_BOARD)
        assert is_here(tablet, service, name)


def test_a_wrong_pin_is_told_and_the_next_one_counts(
    tablet: Page, service: Service, day: FoundedDay
) -> None:
    name = day.people["valeter"]["name"]
    tablet.goto(f"{service.url}/tablet/")
    tablet.get_by_role("link", name=name).click()
    tablet.get_by_label("PIN").fill("2581")
    tablet.get_by_role("button", name=f"I am {name}").click()
    expect(tablet.get_by_role("alert")).to_contain_text("That is not the PIN.")
    tablet.get_by_label("PIN").fill(PIN)
    tablet.keyboard.press("Enter")
    tablet.wait_for_url(THE_BOARD)
    assert is_here(tablet, service, name)


def test_the_pad_clears_undoes_and_takes_no_more_than_a_pin_has(
    browser: Browser, service: Service, day: FoundedDay
) -> None:
    context = browser.new_context(service_workers="block")
    page = made_tablet(context, service, day.people["owner"])
    page.goto(f"{service.url}/tablet/who")
    page.get_by_role("link", name=day.people["valeter"]["name"]).click()
    field, pad = page.get_by_label("PIN"), page.get_by_role("group", name="Digits")
    for _ in range(10):
        pad.get_by_role("button", name="7", exact=True).click()
    expect(field).to_have_value("7" * 8)
    pad.get_by_role("button", name="Undo the last digit").click()
    expect(field).to_have_value("7" * 7)
    pad.get_by_role("button", name="Clear all digits").click()
    expect(field).to_have_value("")
    expect(field).to_have_attribute("type", "password")
    context.close()


def test_the_secret_of_the_tablet_is_out_of_reach_of_scripts(
    browser: Browser, service: Service, day: FoundedDay
) -> None:
    context = browser.new_context(service_workers="block")
    page = made_tablet(context, service, day.people["owner"])
    (kept,) = [cooky for cooky in context.cookies() if cooky["name"] == COOKIE]
    assert kept["httpOnly"]
    assert kept["sameSite"] == "Lax"
    assert COOKIE not in page.evaluate("document.cookie")
    context.close()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("colours", ["light", "dark"])
def test_who_is_here_the_pin_and_what_is_shown_once_are_fit_for_everyone(
    browser: Browser, service: Service, day: FoundedDay, colours: Any, size: str
) -> None:
    viewport: Any = SIZES[size]
    context = browser.new_context(viewport=viewport, color_scheme=colours, service_workers="block")
    page = made_tablet(context, service, day.people["owner"])
    name = day.people["valeter"]["name"]

    def fit(picture: str, *, gloves: bool = True) -> None:
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        assert fits(page, viewport["width"])
        assert not gloves or small(page) == []
        if folder := os.environ.get("SHUTLINE_SCREENSHOTS"):
            page.screenshot(path=Path(folder) / f"{picture}-{size}-{colours}.png", full_page=True)

    page.goto(f"{service.url}/tablet/")
    fit("tablet-who-asked")
    page.get_by_role("link", name=name).click()
    fit("tablet-pin")
    page.get_by_role("button", name=f"I am {name}").click()
    expect(page.get_by_role("alert")).to_be_visible()
    fit("tablet-pin-wrong")
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name=f"I am {name}").click()
    page.goto(f"{service.url}/tablet/who")
    fit("tablet-who-signed-in")
    sign_in(page, service, day.people["owner"])
    page.goto(f"{service.url}/keys/new")
    page.get_by_role("button", name="Make the key").click()
    expect(page.get_by_role("alert")).to_contain_text("Not saved yet")
    fit("key-new-wrong", gloves=False)
    page.get_by_label("System it is for").fill(f"Till {size} {colours}")
    page.get_by_label("See prices").check()
    page.get_by_role("button", name="Make the key").click()
    expect(page.get_by_text("This is shown now and never again.")).to_be_visible()
    fit("key-shown-once", gloves=False)
    page.goto(f"{service.url}/keys")
    fit("keys-listed", gloves=False)
    page.goto(f"{service.url}/desk/tablets")
    fit("tablets-listed", gloves=False)
    context.close()
