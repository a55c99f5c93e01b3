"""Looks at pages in a real browser, in light and dark, on a tablet and a telephone.

SHUTLINE_SCREENSHOTS names a folder for a picture of each; `make screenshots` sets it. Each file
`test_every_….py` looks at a part of the pages, so that several processes can share them.
"""

import os
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext
from playwright.sync_api import Page as Tab

from tests.browser.founded import FoundedDay
from tests.browser.pages_list import Page
from tests.reliability.service import Service

SIZES: dict[str, dict[str, int]] = {
    "tablet": {"width": 1024, "height": 768},
    "phone": {"width": 360, "height": 740},
}
OTHER_WIDTHS = (768, 1440)
TARGET_PIXELS = 48
MOST_BYTES = 60 * 1024
# WCAG 2.5.8 leaves out links within a sentence; what is read only by a reader has no size to tap.
TARGETS = """
() => [...document.querySelectorAll(
    "a[href], button, summary, select, textarea, input:not([type=hidden]), [role=button]")]
  .filter(target => target.checkVisibility({checkOpacity: true, checkVisibilityCSS: true}))
  .filter(target => !target.closest("p, li, dd, td")?.matches(":has(> a)")
    || target.matches(".button, button, input, select, textarea, summary"))
  .filter(target => !target.matches(".skip, .only-read"))
  .map(target => {
    const label = target.matches("input[type=radio], input[type=checkbox]") && target.labels[0];
    const boxes = [target, label].filter(Boolean).map(each => each.getBoundingClientRect());
    return [target.outerHTML.slice(0, 80), Math.max(...boxes.map(box => Math.round(box.width))),
            Math.max(...boxes.map(box => Math.round(box.height)))];
  })
"""


class Look:
    """One page open in a browser of its own, under watch."""

    def __init__(self, context: BrowserContext, url: str, address: str) -> None:
        self.url = url
        self.wrong: list[str] = []
        self.bytes = 0
        tab = self.tab = context.new_page()
        tab.on("pageerror", lambda error: self.wrong.append(str(error)))
        tab.on("console", lambda said: self._said(said.type, said.text))
        tab.on("requestfinished", self._loaded)
        self.answer = tab.goto(url + address, wait_until="networkidle")

    def _said(self, kind: str, text: str) -> None:
        """Count what the policy stopped, and other errors; a 404 page is one that is meant."""
        if kind == "error" and "status of 404" not in text:
            self.wrong.append(text)

    def _loaded(self, request: Any) -> None:
        if not request.url.startswith((self.url, "data:", "blob:")):
            self.wrong.append(f"loaded from elsewhere: {request.url}")
        if request.resource_type in {"document", "stylesheet", "script"}:
            self.bytes += request.sizes()["responseBodySize"]


class Eye:
    """Looks at pages of a founded day as whoever sees them; everybody signs in once."""

    def __init__(self, browser: Browser, service: Service, day: FoundedDay) -> None:
        self.browser, self.service, self.day = browser, service, day
        self.signed_in: dict[str, Any] = {"nobody": {"cookies": [], "origins": []}}
        for role, person in day.people.items():
            context = browser.new_context()
            sign_in = {name: person[name] for name in ("email", "password")}
            assert context.request.post(f"{service.url}/api/v1/session", data=sign_in).ok
            self.signed_in[role] = context.storage_state()
            context.close()

    def check(self, page: Page) -> None:
        """Check that a page is fit for everyone: readable, wide enough to tap, light, quiet."""
        context = self.browser.new_context(
            storage_state=self.signed_in[page.who],
            service_workers="block",
            reduced_motion="reduce",  # else colours are still on their way when they are measured
        )
        look = Look(context, self.service.url, page.address.format(**self.day.places))
        assert look.answer is not None
        assert look.answer.status == (404 if page.name == "not-found" else 200)
        assert look.tab.get_by_role("heading", level=1).count() == 1
        for size, viewport in SIZES.items():
            look.tab.set_viewport_size(viewport)  # type: ignore[arg-type]
            assert fits(look.tab, viewport["width"])
            if page.on_tablet:
                assert small(look.tab) == []
            for colours in ("light", "dark"):
                look.tab.emulate_media(color_scheme=colours)
                found = Axe().run(look.tab)
                assert found.violations_count == 0, found.generate_report()
                keep_picture(look.tab, f"{page.name}-{size}-{colours}")
        for width in OTHER_WIDTHS:
            look.tab.set_viewport_size({"width": width, "height": 900})
            assert fits(look.tab, width)
        assert look.wrong == []
        assert look.bytes < MOST_BYTES
        context.close()


@pytest.fixture(scope="module")
def eye(browser: Browser, service: Service, day: FoundedDay) -> Eye:
    """Return somebody who looks."""
    return Eye(browser, service, day)


def fits(tab: Tab, width: int) -> bool:
    """Return whether nothing sticks out at the side (WCAG 1.4.10)."""
    return int(tab.evaluate("document.documentElement.scrollWidth")) <= width


def small(tab: Tab) -> list[Any]:
    """Return what is too small for a thumb in a wet glove."""
    return [target for target in tab.evaluate(TARGETS) if min(target[1:]) < TARGET_PIXELS]


def keep_picture(tab: Tab, name: str) -> None:
    """Keep what the page looks like, where a folder for it is named."""
    if folder := os.environ.get("SHUTLINE_SCREENSHOTS"):
        tab.screenshot(path=Path(folder) / f"{name}.png", full_page=True)
