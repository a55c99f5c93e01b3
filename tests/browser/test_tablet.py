"""The tablet in a real browser against the real service: what is tapped is done, in few taps."""

import re
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, expect
from playwright.sync_api import Page as Tab

from tests.browser.conftest import PHONE, TABLET
from tests.browser.founded import FoundedDay
from tests.browser.founding import painted
from tests.reliability.service import Service, wait_until

pytestmark = pytest.mark.browser
THUMB_PIXELS = 48
# All that can be tapped, each with the box that takes the tap; words within a sentence aside.
BOXES = """
() => [...document.querySelectorAll("main a[href], main button, main summary, main select, "
    + "main textarea, main label, main input:not([type=hidden], [type=radio], [type=checkbox])")]
  .filter(target => target.checkVisibility({checkOpacity: true, checkVisibilityCSS: true}))
  .filter(target => !target.matches("label")
    || target.control?.matches("[type=radio], [type=checkbox]"))
  .map(target => [target.outerHTML.slice(0, 90), target.getBoundingClientRect()])
  .map(([what, box]) => [what, Math.round(box.width * 10) / 10, Math.round(box.height * 10) / 10])
"""


class Tablet:
    """The tablet with the valeter signed in; it counts the taps."""

    def __init__(self, context: BrowserContext, service: Service, day: FoundedDay) -> None:
        self.context, self.service, self.day = context, service, day
        self.taps = 0
        self.wrong: list[str] = []
        self.tab: Tab = context.new_page()
        self.tab.on("pageerror", lambda error: self.wrong.append(str(error)))

    def open(self, address: str) -> None:
        """Go to a page and wait until its modules run."""
        self.tab.goto(self.service.url + address.format(**self.day.places))
        self.ready()
        self.taps = 0

    def ready(self) -> None:
        """Wait until the queue's module has drawn what it knows."""
        self.tab.locator("[data-net]", has_text="Online").wait_for()

    def tap(self, what: Locator) -> None:
        """Tap once."""
        what.click()
        self.taps += 1

    def button(self, name: str) -> Locator:
        """Return the button of this name that is to be seen."""
        return self.tab.get_by_role("button", name=name, exact=True)

    def kept(self, path: str) -> Any:
        """Return what the service says about a car, or about what was taken down on it."""
        answer = self.context.request.get(
            f"{self.service.url}/api/v1/jobs/{path.format(**self.day.places)}"
        )
        assert answer.ok, answer.text()
        return answer.json()

    def sent(self, path: str, what: str, true: Any) -> None:
        """Wait until the service has it."""
        wait_until(lambda: true(self.kept(path)), what, seconds=20)


@pytest.fixture
def tablet(browser: Browser, service: Service, day: FoundedDay) -> Iterator[Tablet]:
    """Sign the valeter in on a tablet."""
    context = browser.new_context(viewport=TABLET, has_touch=True)  # type: ignore[arg-type]
    person = day.people["valeter"]
    sign_in = {name: person[name] for name in ("email", "password")}
    assert context.request.post(f"{service.url}/api/v1/session", data=sign_in).ok
    valeters_tablet = Tablet(context, service, day)
    yield valeters_tablet
    assert valeters_tablet.wrong == []
    context.close()


def runs(clock: Locator) -> bool:
    """Return whether a clock counts seconds."""
    return re.fullmatch(r"\d+:[0-5]\d", clock.inner_text()) is not None


def photograph(folder: Path) -> Path:
    """Return a picture as a camera would have taken it."""
    path = folder / "picture.png"
    path.write_bytes(painted((90, 110, 130)))
    return path


def test_a_car_is_worked_from_the_board_to_ready_by_taps(tablet: Tablet) -> None:
    tab = tablet.tab
    tablet.open("/tablet/")
    parts = tab.get_by_role("heading", level=2).all_inner_texts()
    # A car that must not be driven, which another test may have left, stands before these.
    assert next(part for part in parts if not part.startswith("Do not drive")).startswith(
        "To work on"
    )
    tablet.tap(tab.get_by_role("link", name="UK14 MOW"))
    tab.locator("[data-car]").wait_for()
    tablet.ready()
    tablet.taps = 0
    tablet.tap(tablet.button("Move to cleaning"))
    assert tablet.taps == 1
    tablet.sent("{waiting_car}", "the move", lambda job: job["stage"] == "cleaning")
    for name in ("Wash and dry the body", "Clean all glass"):
        task = tab.locator("[data-task]", has_text=name)
        tablet.tap(task.get_by_role("button", name="Start"))
        clock = task.locator("[data-clock]")
        wait_until(partial(runs, clock), "a running clock")
        tablet.tap(task.get_by_role("button", name="Finish"))
        task.get_by_text("Done", exact=True).wait_for()
    tablet.sent(
        "{waiting_car}",
        "the tasks",
        lambda job: {task["state"] for task in job["tasks"]} == {"finished"},
    )
    tablet.tap(tablet.button("Move to ready"))
    tablet.sent("{waiting_car}", "the move", lambda job: job["stage"] == "ready")


def test_a_finding_with_a_picture_takes_five_taps(tablet: Tablet, tmp_path: Path) -> None:
    tab = tablet.tab
    tablet.open("/tablet/cars/{washed_car}")
    tablet.tap(tab.get_by_role("link", name="Report a finding").first)
    tab.locator("form.finding").wait_for()
    tablet.ready()
    tablet.tap(tab.locator("label[for=at-left_front_wheel]"))
    phrase = tab.locator("[data-fitting] label").first
    words = phrase.inner_text()
    tablet.tap(phrase)
    with tab.expect_file_chooser() as chooser:
        tablet.tap(tab.locator(".camera"))
    chooser.value.set_files(photograph(tmp_path))
    tab.get_by_text("1 picture taken").wait_for()
    tablet.tap(tablet.button("Send the finding"))
    assert tablet.taps == 5
    tab.wait_for_url(f"**/tablet/cars/{tablet.day.places['washed_car']}")
    tablet.sent("{washed_car}/findings", "the finding", lambda answer: answer["findings"])
    (finding,) = tablet.kept("{washed_car}/findings")["findings"]
    assert finding["area"] == "left_front_wheel"
    assert finding["noticed"] in words
    assert len(finding["pictures"]) == 1


def test_the_phrases_that_fit_come_first_and_do_not_drive_says_what_follows(
    tablet: Tablet,
) -> None:
    tab = tablet.tab
    tablet.open("/tablet/cars/{car}/finding")
    tablet.tap(tab.locator("label[for=at-brakes]"))
    tab.locator("[data-fitting]").get_by_text("sinks under a steady foot").click()
    warning = tab.locator("[data-stops]")
    expect(warning).to_be_visible()
    expect(warning).to_contain_text("on hold at once")
    tablet.tap(tab.get_by_role("button", name="Change what"))
    tab.get_by_label("Own words").check(force=True)
    tab.keyboard.press("Enter")
    tablet.tap(tablet.button("Send the finding"))
    assert tab.locator("[data-missing]").inner_text() == "Say in your own words what you noticed."


def test_a_finding_is_chosen_by_keys_alone(tablet: Tablet) -> None:
    tab = tablet.tab
    tablet.open("/tablet/cars/{car}/finding")
    tab.locator("#at-bonnet").focus()
    tab.keyboard.press("Space")
    tab.keyboard.press("ArrowRight")
    assert tab.locator("[data-step-part='1']").is_visible()
    tab.locator("#at-roof").focus()
    tab.keyboard.press("Space")
    tab.keyboard.press("Enter")
    assert tab.locator("[data-chosen='1']").inner_text().startswith("Roof")
    assert tab.locator("[data-step-part='2'] legend").evaluate(
        "legend => legend === document.activeElement"
    )


def test_paint_is_read_by_tapping_the_drawing_and_a_pad(tablet: Tablet) -> None:
    tab = tablet.tab
    tablet.open("/tablet/cars/{washed_car}/paint")
    tablet.tap(tab.locator("label[for=panel-bonnet]"))
    save = tablet.button("Save these readings")
    tablet.tap(save)
    assert "Give at least 3 readings" in tab.locator("[data-missing]").inner_text()
    for reading in ("112", "115", "109"):
        for digit in reading:
            tablet.tap(tablet.button(digit))
        tablet.tap(tablet.button("Add"))
    assert "3 taken, mean 112" in tab.locator("[data-count]").inner_text()
    tablet.tap(save)
    shown = tab.locator("label[for=panel-bonnet] [data-figure]")
    wait_until(lambda: shown.inner_text() == "112", "the reading on the drawing")
    tablet.sent("{washed_car}/paint", "the reading", lambda paint: paint["readings"])
    (kept,) = tablet.kept("{washed_car}/paint")["readings"]
    assert (kept["panel"], kept["material"]) == ("bonnet", "steel")
    assert kept["readings"] == [112, 115, 109]
    tab.locator("#says").locator("..").get_by_text("Bonnet").wait_for()


def test_a_film_and_a_paint_test_are_answered_by_taps(tablet: Tablet) -> None:
    tablet.open("/tablet/cars/{car}/paint")
    tablet.tap(tablet.button("No film or wrap"))
    tablet.sent("{car}/paint", "the answer", lambda paint: paint["film"] == "no")
    form = tablet.tab.locator("form[data-kind=paint_test]")
    for words in ("White", "Dark cloth", "Nothing of the paint", "Dull"):
        tablet.tap(form.get_by_text(words, exact=True))
    tablet.tap(tablet.button("Save the test"))
    tablet.sent("{car}/paint", "the test", lambda paint: paint["tests"])
    (kept,) = tablet.kept("{car}/paint")["tests"]
    seen = (kept["white_paint"], kept["rubbed_with"], kept["pad_colour"], kept["look"])
    assert seen == (True, "dark_cloth", "nothing", "dull")
    assert kept["darkens_when_wet"] is None
    tablet.tab.get_by_text("Paint system: clear over base.").wait_for()


def test_a_hold_is_one_tap_on_its_cause_and_is_released_again(tablet: Tablet) -> None:
    tab = tablet.tab
    tablet.open("/tablet/cars/{car}")
    tablet.tap(tablet.button("Waits for parts"))
    tablet.sent("{car}", "the hold", lambda job: job["on_hold"])
    tablet.tap(tab.get_by_role("button", name="Release"))
    tablet.sent("{car}", "the release", lambda job: not job["on_hold"])
    assert tablet.kept("{car}")["holds"][-1]["cause"] == "parts"


@pytest.mark.parametrize(
    "address",
    [
        "/tablet/",
        "/tablet/cars/{car}",
        "/tablet/cars/{curing_car}",
        "/tablet/cars/{held_car}",
        "/tablet/cars/{ready_car}",
        "/tablet/cars/{coming_car}",
        "/tablet/cars/{car}/finding",
        "/tablet/cars/{car}/paint",
    ],
)
def test_everything_to_tap_is_a_thumb_wide_on_tablet_and_telephone(
    tablet: Tablet, address: str
) -> None:
    for size in (TABLET, PHONE):
        tablet.tab.set_viewport_size(size)  # type: ignore[arg-type]
        tablet.open(address)
        tablet.tab.evaluate(
            "document.querySelectorAll('details').forEach(details => details.open = true)"
        )
        if address.endswith("/finding"):
            tablet.tab.evaluate(
                "document.querySelectorAll('[hidden]').forEach(part => part.hidden = false)"
            )
        boxes = tablet.tab.evaluate(BOXES)
        assert boxes
        assert [box for box in boxes if min(box[1:]) < THUMB_PIXELS] == []
