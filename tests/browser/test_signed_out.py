"""What a browser still shows of somebody who signed out: nothing, also on the way back."""

import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests import servers
from tests.browser.conftest import TABLET, patient, signed_in
from tests.browser.founded import FoundedDay
from tests.patience import PATIENCE_MS
from tests.reliability.service import Service, wait_until

pytestmark = pytest.mark.browser
# The addresses that are kept, but for the files of the release, which hold nothing of anybody.
KEPT = """async () => {
  const names = (await caches.keys()).filter((name) => !name.startsWith("shutline-files"));
  const kept = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
  return kept.flat().map((request) => request.url);
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start Chromium with the back/forward cache that people have, and automation switches off."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=servers.chromium_path(),
            timeout=PATIENCE_MS,
            ignore_default_args=["--disable-back-forward-cache"],
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--no-first-run",
                "--enable-features=BackForwardCache",
            ],
        )
        yield patient(started)
        started.close()


def come_back(page: Page) -> None:
    """Go back, as with the browser's button; a page that was kept whole does not load again."""
    page.go_back(wait_until="commit")


def until(page: Page, expression: str) -> None:
    """Wait until something is so; the pages' policy lets Playwright's own waiting not be run."""
    wait_until(lambda: page.evaluate(expression), expression)


def test_the_back_forward_cache_is_on_here(browser: Browser, service: Service) -> None:
    page = browser.new_page()
    page.goto(f"{service.url}/static/core/icon.svg")
    page.evaluate("window.planted = true; 0")
    page.goto(f"{service.url}/static/accounts/people.css")
    come_back(page)
    expect(page).to_have_url(re.compile("icon.svg"))
    assert page.evaluate("window.planted === true")
    page.close()


@pytest.mark.parametrize("address", ["/desk/", "/desk/people", "/me", "/keys"])
def test_after_the_sign_out_the_way_back_leads_to_the_sign_in(
    browser: Browser, service: Service, day: FoundedDay, address: str
) -> None:
    context = signed_in(browser, service, day.people["owner"], viewport=TABLET)
    page = context.new_page()
    page.goto(address)
    name = page.locator(".who a").inner_text()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(re.compile("/sign-in"))
    come_back(page)
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert name not in page.content()
    context.close()


def test_signed_out_from_elsewhere_the_way_back_leads_to_the_sign_in(
    browser: Browser, service: Service, day: FoundedDay
) -> None:
    context = signed_in(browser, service, day.people["owner"], viewport=TABLET)
    page = context.new_page()
    page.goto("/desk/people")
    name = page.locator(".who a").inner_text()
    page.goto("/static/core/icon.svg")
    token = context.request.get("/api/v1/session").json()["csrf_token"]
    assert context.request.delete("/api/v1/session", headers={"X-CSRFToken": token}).status == 204
    come_back(page)
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert name not in page.content()
    context.close()


def test_the_tablet_forgets_pages_and_pictures_but_not_what_waits(
    browser: Browser, service: Service, day: FoundedDay
) -> None:
    context = signed_in(browser, service, day.people["valeter"], viewport=TABLET)
    page = context.new_page()
    page.goto("/tablet/")
    until(page, "navigator.serviceWorker.controller !== null")
    kept = "caches.open('shutline-pages').then((all) => all.match('/tablet/')).then(Boolean)"
    until(page, kept)
    picture = "caches.open('shutline-pictures').then((all) => all.put('/x', new Response('x')))"
    page.evaluate(picture)
    page.evaluate(
        """() => new Promise((resolve, reject) => {
          const asked = indexedDB.open("shutline-tablet", 1);
          asked.onsuccess = () => {
            const whole = asked.result.transaction(["actions"], "readwrite");
            whole.objectStore("actions").add({ id: "planted", job: "none", person: "somebody else",
              name: "Somebody Else", says: "Planted", state: "waiting" });
            whole.oncomplete = () => resolve(asked.result.close());
            whole.onabort = () => reject(whole.error);
          };
        })"""
    )
    page.goto("/me")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(re.compile("/sign-in"))
    until(page, f"({KEPT})().then((kept) => kept.length === 0)")
    waiting = page.evaluate(
        """() => new Promise((resolve) => {
          const asked = indexedDB.open("shutline-tablet", 1);
          asked.onsuccess = () => {
            const all = asked.result.transaction(["actions"]).objectStore("actions").getAll();
            all.onsuccess = () => resolve(all.result.map((action) => action.id));
          };
        })"""
    )
    assert waiting == ["planted"], json.dumps(waiting)
    context.set_offline(True)
    page.goto("/tablet/")
    assert page.locator("[data-board-car]").count() == 0
    context.close()
