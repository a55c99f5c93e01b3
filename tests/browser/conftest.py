"""A real Chromium in front of the real web server."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Error,
    Page,
    Request,
    expect,
    sync_playwright,
)

from tests import servers
from tests.browser.founded import FoundedDay, founded_day
from tests.patience import PATIENCE_MS
from tests.reliability.service import Service, with_tables

expect.set_options(timeout=PATIENCE_MS)
TABLET = {"width": 1024, "height": 768}
DROPPED_AT_MOST = 5
PHONE = {"width": 360, "height": 740}
LOOPBACK = {
    "SHUTLINE_ALLOW_PLAIN_HTTP": "1",
    "SHUTLINE_OPEN_NETWORKS": "127.0.0.0/8",
    "SHUTLINE_UNDO_SECONDS": "1",
}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Run the embedded service, in a folder of its own; its notices may go to this machine."""
    folder = with_tables(tmp_path_factory.mktemp("service"))
    with Service(folder, "--port", "0", environment=LOOPBACK) as running:
        running.wait_until_ready()
        yield running


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start Debian's Chromium, which may look nothing up anywhere."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=servers.chromium_path(),
            timeout=PATIENCE_MS,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--no-first-run",
            ],
        )
        yield patient(started)
        started.close()


def patient(browser: Browser) -> Browser:
    """Return the browser with the tests' patience in whatever it opens, and not its half minute."""
    new_context, new_page = browser.new_context, browser.new_page

    def context(*args: Any, **how: Any) -> BrowserContext:
        opened = new_context(*args, **how)
        opened.set_default_timeout(PATIENCE_MS)
        further = opened.new_page
        opened.new_page = lambda: determined(further())  # type: ignore[method-assign]
        return opened

    def page(*args: Any, **how: Any) -> Page:
        opened = new_page(*args, **how)
        opened.set_default_timeout(PATIENCE_MS)
        return determined(opened)

    browser.new_context = context  # type: ignore[method-assign]
    browser.new_page = page  # type: ignore[method-assign]
    return browser


def determined(page: Page) -> Page:
    """Return the page that goes where it is sent, also while it is drawing itself anew.

    The tablet's pages do that by themselves, and of two ways at once the browser drops one.
    """

    def however_often(go: Callable[..., Any]) -> Callable[..., Any]:
        def gone(*args: Any, **how: Any) -> Any:
            for _ in range(DROPPED_AT_MOST):
                try:
                    return go(*args, **how)
                except Error as error:
                    if "net::ERR_ABORTED" not in error.message:
                        raise
            return go(*args, **how)

        return gone

    page.goto = however_often(page.goto)  # type: ignore[method-assign]
    page.reload = however_often(page.reload)  # type: ignore[method-assign]
    return page


@pytest.fixture(scope="module")
def day(service: Service) -> FoundedDay:
    """Found the working day there."""
    return founded_day(service)


def signed_in(browser: Browser, service: Service, person: Any, **how: Any) -> BrowserContext:
    """Return a browser of its own in which somebody is signed in."""
    context = browser.new_context(base_url=service.url, **how)
    sign_in = {name: person[name] for name in ("email", "password")}
    assert context.request.post("/api/v1/session", data=sign_in).ok
    return context


@pytest.fixture
def desk(browser: Browser, service: Service, day: FoundedDay) -> Iterator[Page]:
    """Open the manager's browser."""
    context = signed_in(browser, service, day.people["manager"], viewport=TABLET)
    yield context.new_page()
    context.close()


@pytest.fixture
def dealer(browser: Browser, service: Service, day: FoundedDay) -> Iterator[Page]:
    """Open the dealer's browser, on a telephone."""
    context = signed_in(browser, service, day.people["staff"], viewport=PHONE)
    yield context.new_page()
    context.close()


class Visit:
    """One page under watch: what it loaded from where, and what its console said."""

    def __init__(self, browser: Browser, size: dict[str, int]) -> None:
        self.page: Page = browser.new_page(viewport=size)  # type: ignore[arg-type]
        self.loaded: list[str] = []
        self.errors: list[str] = []
        self.page.on("requestfinished", lambda request: self.loaded.append(request.url))
        self.page.on("requestfailed", self._failed)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))

    def _failed(self, request: Request) -> None:
        """Count a request that left the browser; one that the page's policy stopped did not."""
        if request.failure != "csp":
            self.loaded.append(request.url)

    def elsewhere(self, url: str) -> list[str]:
        """Return what was loaded from anywhere but the service."""
        inline = ("data:", "blob:")
        return [address for address in self.loaded if not address.startswith((url, *inline))]

    def picture(self, path: Path) -> None:
        """Keep what the page looks like."""
        self.page.screenshot(path=path)


@pytest.fixture
def visit(browser: Browser) -> Iterator[Visit]:
    """Open a page at the size of a tablet."""
    tablet_visit = Visit(browser, TABLET)
    yield tablet_visit
    tablet_visit.page.close()
