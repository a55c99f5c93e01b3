"""Markup that people and systems sent, in a real browser: nothing of it acts, all of it is read."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from tests.browser.founded import founded_by
from tests.browser.test_notices import ENVIRONMENT, SIZE
from tests.reliability.service import Service, with_tables

pytestmark = pytest.mark.browser
# Who looks where, and which of the texts must be read there; some show once a part is opened.
LOOKS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("valeter", "/tablet/", ("make", "location")),
    ("valeter", "/tablet/cars/{car}", ("make", "noticed", "notes")),
    ("staff", "/dashboard/", ("make",)),
    ("staff", "/dashboard/cars/{car}", ("reference", "noticed", "what", "reply")),
    ("manager", "/desk/", ("make",)),
    ("manager", "/desk/cars/{car}", ("reference", "noticed", "what", "contact")),
    ("manager", "/desk/waiting", ("hold",)),
    ("manager", "/desk/people", ("colleague",)),
    ("staff", "/notices/", ("address", "description")),
    ("staff", "/notices/webhooks/{webhook}", ("address", "answer", "error")),
    ("staff", "/dashboard/imports/{import}", ("file name", "refusal")),
)
OPEN_ALL = "document.querySelectorAll('details').forEach(details => { details.open = true; })"
FOREIGN = "document.querySelectorAll('img[src=x], script:not([src]):not([type])').length"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Run the embedded service."""
    folder = with_tables(tmp_path_factory.mktemp("marked"))
    with Service(folder, "--port", "0", environment=ENVIRONMENT) as running:
        running.wait_until_ready()
        yield running


@pytest.fixture(scope="module")
def day(service: Service) -> dict[str, Any]:
    """Found the day full of markup there."""
    return founded_by("tests.browser.founding_marked", service)


@pytest.fixture(scope="module")
def tabs(browser: Browser, service: Service, day: dict[str, Any]) -> Iterator[dict[str, Page]]:
    """Sign in everybody who looks."""
    contexts, opened = [], {}
    for role in sorted({who for who, _, _ in LOOKS}):
        context = browser.new_context(viewport=SIZE, service_workers="block")  # type: ignore[arg-type]
        contexts.append(context)
        tab = opened[role] = context.new_page()
        tab.goto(f"{service.url}/sign-in")
        tab.get_by_label("E-mail address").fill(day["people"][role]["email"])
        tab.get_by_label("Password").fill(day["people"][role]["password"])
        tab.get_by_role("button", name="Sign in").click()
        expect(tab.get_by_label("Password")).to_have_count(0)
    yield opened
    for context in contexts:
        context.close()


@pytest.mark.parametrize("look", LOOKS, ids=[look[1] for look in LOOKS])
def test_no_markup_acts_and_all_of_it_is_read(
    tabs: dict[str, Page],
    service: Service,
    day: dict[str, Any],
    look: tuple[str, str, tuple[str, ...]],
) -> None:
    who, address, names = look
    tab, said, stopped = tabs[who], [], []

    def note(dialog: Dialog) -> None:
        said.append(dialog.message)
        dialog.dismiss()

    tab.on("dialog", note)
    tab.on(
        "console",
        lambda message: stopped.append(message.text) if "Policy" in message.text else None,
    )
    tab.goto(service.url + address.format(**day["places"]), wait_until="networkidle")
    tab.evaluate(OPEN_ALL)
    for name in names:
        expect(tab.get_by_text(day["names"][name]).first).to_be_visible()
    assert tab.evaluate(FOREIGN) == 0
    assert said == []
    assert stopped == []  # the policy had nothing to stop either
    tab.remove_listener("dialog", note)
