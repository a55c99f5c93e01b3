"""The page that answers a request, in a real browser: it works without a script, and for everyone.

The checks of WCAG 2.2 AA are those that a program can make; the numbers are its criteria.
"""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import Visit
from tests.browser.founded import founded
from tests.reliability.service import Service

pytestmark = pytest.mark.browser
SIZES = [
    pytest.param({"width": 390, "height": 844}, id="phone"),
    pytest.param({"width": 820, "height": 1180}, id="tablet"),
]
TARGET_PIXELS = 44
TEXT_CONTRAST = 4.5
# Of everything with text of its own: the contrast to the nearest ground, by 1.4.3's formula.
CONTRASTS = """
() => {
  const parts = colour => colour.match(/[\\d.]+/g).map(Number);
  const light = colour => {
    const [r, g, b] = parts(colour).slice(0, 3).map(v => v / 255)
      .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = element => {
    for (let behind = element; behind; behind = behind.parentElement) {
      const colour = getComputedStyle(behind).backgroundColor;
      if ((parts(colour)[3] ?? 1) > 0) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const own = part => [...part.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  return [...document.querySelectorAll("main *")]
    .filter(part => own(part) && part.getClientRects().length)
    .map(part => {
      const [a, b] = [getComputedStyle(part).color, ground(part)].map(light);
      const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
      return [part.textContent.trim().slice(0, 40), ratio];
    });
}
"""
TARGETS = """
() => [...document.querySelectorAll("a, button, input:not([type=hidden]), textarea")]
  .filter(target => target.getClientRects().length)
  .map(target => {
    const box = target.getBoundingClientRect();
    return [target.outerHTML.slice(0, 60), box.width, box.height];
  })
"""
NAMELESS = """
() => [...document.querySelectorAll("input:not([type=hidden]), textarea")]
  .filter(field => ![...field.labels].some(label => label.textContent.trim()))
  .map(field => field.outerHTML)
"""


@pytest.fixture(scope="module")
def links(service: Service) -> dict[str, str]:
    """Return the page's address for each purpose, each about a car of its own."""
    return {**founded(service), "unknown": f"{service.url}/decide/nothing"}


@pytest.fixture
def bare(browser: Browser) -> Any:
    """Open a page in a browser that runs no script."""
    context = browser.new_context(java_script_enabled=False)
    yield context.new_page()
    context.close()


def heading(page: Page) -> str:
    return page.get_by_role("heading", level=1).inner_text()


def holds_for_everyone(page: Page, width: int) -> None:
    """Hold the page against what can be measured of WCAG 2.2 AA."""
    assert page.locator("html").get_attribute("lang") == "en-GB"  # 3.1.1
    assert page.title()  # 2.4.2
    assert page.get_by_role("heading", level=1).count() == 1  # 1.3.1
    assert page.locator("main").count() == 1
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => +h.tagName[1])")
    assert (levels[0], max(levels)) in {(1, 1), (1, 2)}
    assert page.evaluate(NAMELESS) == []  # 1.3.1, 3.3.2, 4.1.2
    assert page.locator("img:not([alt]), img[alt='']").count() == 0  # 1.1.1
    small = [target for target in page.evaluate(TARGETS) if min(target[1:]) < TARGET_PIXELS]
    assert small == []  # 2.5.8 wants 24; a thumb in a yard wants more
    faint = [text for text in page.evaluate(CONTRASTS) if text[1] < TEXT_CONTRAST]
    assert faint == []  # 1.4.3
    assert page.evaluate("document.documentElement.scrollWidth") <= width  # 1.4.10
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(element => element.id)")
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("colours", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("purpose", ["look", "plain", "wrong", "unknown"])
def test_every_page_is_fit_for_everyone(
    browser: Browser, links: dict[str, str], purpose: str, size: Any, colours: Any
) -> None:
    context = browser.new_context(viewport=size, color_scheme=colours)
    page = context.new_page()
    page.goto(links[purpose])
    if purpose == "wrong":
        page.get_by_role("button", name="Ask first").click()
        assert page.get_by_role("alert").is_visible()
        text = page.get_by_label("A word to the workshop")
        assert text.get_attribute("aria-invalid") == "true"
    holds_for_everyone(page, size["width"])
    context.close()


def test_it_loads_nothing_from_elsewhere_and_shows_its_pictures(
    visit: Visit, service: Service, links: dict[str, str]
) -> None:
    visit.page.goto(links["look"], wait_until="networkidle")
    widths = visit.page.evaluate("[...document.images].map(image => image.naturalWidth)")
    assert widths == [320, 320]
    assert visit.elsewhere(service.url) == []
    assert visit.errors == []
    style = "getComputedStyle(document.querySelector('main')).maxWidth"
    assert visit.page.evaluate(style) != "none"  # the policy lets its own style in


def test_approving_needs_no_script_and_works_once(bare: Page, links: dict[str, str]) -> None:
    bare.goto(links["approve"])
    bare.get_by_label("Your name").fill("Ines Okafor-Lind")
    bare.get_by_role("button", name="Approve: 64.00 GBP").click()
    assert heading(bare).startswith("Approved: ")
    again = bare.goto(links["approve"])
    assert again is not None
    assert again.status == 409
    assert heading(bare) == "This is approved already"
    assert "Ines Okafor-Lind (by the e-mail link)" in bare.inner_text("main")
    assert bare.get_by_role("button").count() == 0


def test_two_tabs_of_one_link_give_one_answer(bare: Page, links: dict[str, str]) -> None:
    second_tab = bare.context.new_page()
    for page in (bare, second_tab):
        page.goto(links["decline"])
    bare.get_by_role("button", name="Decline").click()
    assert heading(bare).startswith("Declined: ")
    second_tab.get_by_role("button", name="Approve").click()
    assert heading(second_tab) == "This is declined already"


def test_a_question_goes_out_and_ends_the_link(bare: Page, links: dict[str, str]) -> None:
    bare.goto(f"{links['ask']}#ask")
    bare.get_by_label("A word to the workshop").fill("Would a hand polish do?")
    bare.get_by_role("button", name="Ask first").click()
    assert heading(bare) == "Your question is sent"
    bare.goto(links["ask"])
    assert heading(bare) == "This link was used already"


def test_the_keyboard_alone_reaches_everything_and_enter_in_a_field_answers_nothing(
    visit: Visit, links: dict[str, str]
) -> None:
    page = visit.page
    page.goto(links["plain"])
    seen = [pressed(page, "Tab") for _ in range(5)]
    assert seen == ["name", "text", "approve", "decline", "ask"]
    page.get_by_label("Your name").focus()
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert page.get_by_role("button", name="Approve").is_visible()


def pressed(page: Page, key: str) -> str:
    """Press a key and return the id of what has the focus, which must be seen to have it."""
    page.keyboard.press(key)
    focus: Callable[[str], Any] = page.evaluate
    assert focus("getComputedStyle(document.activeElement).outlineStyle") != "none"  # 2.4.7
    return str(focus("document.activeElement.id"))
