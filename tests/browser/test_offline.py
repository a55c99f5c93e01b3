"""The tablet without network: nothing that was done is lost, doubled or sent out of order."""

import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import (
    APIRequestContext,
    BrowserContext,
    Page,
    Playwright,
    expect,
    sync_playwright,
)
from playwright.sync_api import Error as PlaywrightError

from tests import servers
from tests.api.pictures import encoded
from tests.browser.conftest import LOOPBACK
from tests.browser.founded import FoundedDay, founded_day
from tests.browser.proxy import BadLine
from tests.patience import PATIENCE_MS
from tests.reliability.service import Service, get, wait_until, with_tables

pytestmark = pytest.mark.browser
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
QUEUED = """() => new Promise((resolve) => {
  const open = indexedDB.open("shutline-tablet");
  open.onsuccess = () => {
    const asked = open.result.transaction("actions").objectStore("actions").getAll();
    asked.onsuccess = () => { open.result.close(); resolve(asked.result.map(
      ({ id, kind, madeAt, state, says }) => ({ id, kind, madeAt, state, says }))); };
  };
})"""
KEPT = "path => caches.match(path).then(Boolean)"


class Shop:
    """The service on a port of its own, which may stop and start again, behind a bad line."""

    def __init__(self, folder: Path) -> None:
        self.folder = with_tables(folder)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.running: Service | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        self.running = Service(self.folder, "--port", str(self.port), environment=LOOPBACK)
        self.running.wait_until_ready()
        wait_until(lambda: get(f"http://127.0.0.1:{self.port}/readyz") == 200, "readiness")

    def stop(self) -> None:
        """Stop it as an operator does."""
        if self.running is not None:
            self.running.stop(signal.SIGTERM)
            self.running.__exit__()
            self.running = None

    def found(self) -> FoundedDay:
        """Found the working day there."""
        assert self.running is not None
        return founded_day(self.running)


class Tablet:
    """A browser with a profile on disk, that is closed and opened again."""

    def __init__(self, playwright: Playwright, profile: Path, url: str) -> None:
        self.playwright, self.profile, self.url = playwright, profile, url
        self.context: BrowserContext | None = None

    def open(self) -> Page:
        """Open the browser, as it was left."""
        self.context = self.playwright.chromium.launch_persistent_context(
            self.profile,
            executable_path=servers.chromium_path(),
            args=ARGUMENTS,
            viewport={"width": 1024, "height": 768},
            timeout=PATIENCE_MS,
        )
        self.context.set_default_timeout(PATIENCE_MS)
        return self.context.pages[0]

    @property
    def page(self) -> Page:
        """Return the window that is open."""
        assert self.context is not None
        return self.context.pages[0]

    def close(self) -> None:
        """Close the browser."""
        if self.context is not None:
            self.context.close()
            self.context = None

    def sign_in(self, day: FoundedDay, role: str = "valeter") -> None:
        """Sign somebody in."""
        assert self.context is not None
        # An answer on its way to whoever was signed in takes the cookie of the next away with it.
        self.page.wait_for_load_state("networkidle")
        person = {name: day.people[role][name] for name in ("email", "password")}
        assert self.context.request.post(f"{self.url}/api/v1/session", data=person).ok

    def read(self, path: str) -> Any:
        """Ask the API as whoever is signed in."""
        assert self.context is not None
        answer = self.context.request.get(f"{self.url}/api/v1{path}")
        assert answer.ok, answer.text()
        return answer.json()

    def offline(self, *, offline: bool) -> None:
        """Take the network away, or give it back."""
        assert self.context is not None
        self.context.set_offline(offline)


@contextmanager
def founded(folder: Path) -> Iterator[tuple[Shop, BadLine, FoundedDay]]:
    """Run a shop in a folder with the day in it, and the line to it."""
    shop = Shop(folder)
    shop.start()
    try:
        day = shop.found()
        with BadLine(shop.port) as line:
            yield shop, line, day
    finally:
        shop.stop()


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Shop, BadLine, FoundedDay]]:
    with founded(tmp_path_factory.mktemp("offline")) as founded_bay:
        yield founded_bay


@pytest.fixture
def shop(bay: tuple[Shop, BadLine, FoundedDay]) -> Shop:
    if bay[0].running is None:
        bay[0].start()
    return bay[0]


@pytest.fixture
def line(bay: tuple[Shop, BadLine, FoundedDay]) -> Iterator[BadLine]:
    yield bay[1]
    bay[1].mend()  # whatever became of the test


@pytest.fixture
def day(bay: tuple[Shop, BadLine, FoundedDay]) -> FoundedDay:
    return bay[2]


@pytest.fixture
def tablet(shop: Shop, line: BadLine, day: FoundedDay, tmp_path: Path) -> Iterator[Tablet]:
    """Return a browser in which the valeter is signed in and the board has been seen."""
    del shop
    with sync_playwright() as playwright:
        valeters_tablet = Tablet(playwright, tmp_path / "profile", line.url)
        page = valeters_tablet.open()
        valeters_tablet.sign_in(day)
        page.goto(f"{line.url}/tablet/")
        yield valeters_tablet
        valeters_tablet.close()


def kept(page: Page, *paths: str) -> None:
    """Wait until the tablet has pages for a time without network."""
    wait_until(lambda: all(page.evaluate(KEPT, path) for path in paths), "the pages kept")


def queued(page: Page) -> list[dict[str, str]]:
    """Return what waits on the tablet, in order; a page that loads itself anew is asked again."""
    while True:
        try:
            found: list[dict[str, str]] = page.evaluate(QUEUED)
        except PlaywrightError as error:
            if "because of a navigation" not in str(error):
                raise
            page.wait_for_load_state()
        else:
            return found


def acting(page: Page, count: int, tap: Callable[[], None]) -> None:
    """Tap, and wait until so many actions wait on the tablet."""
    tap()
    wait_until(lambda: len(queued(page)) == count, f"{count} queued actions")


def tap(page: Page, form: str) -> None:
    """Tap the button of the first form of this kind that is to be seen."""
    page.locator(f"form.act{form}:visible button[type=submit]:visible, "
                 f"form.act{form}:visible button:not([type]):visible").first.click()  # fmt: skip


def emptied(page: Page) -> None:
    """Wait until everything has arrived."""
    try:
        wait_until(lambda: queued(page) == [], "the queue to be sent")
    except AssertionError as late:
        bar = page.locator("[data-net]").inner_text()
        raise AssertionError(f"{late}; the bar says {bar!r}, waiting: {queued(page)}") from late


def report_with_picture(page: Page, url: str, job: str) -> None:
    """Report a finding with a picture, as a valeter taps it."""
    page.goto(f"{url}/tablet/cars/{job}/finding")
    page.locator("label[for=at-bonnet]").click()
    page.locator("[data-fitting] label").first.click()
    picture = {"name": "picture.jpg", "mimeType": "image/jpeg", "buffer": encoded()}
    page.set_input_files("#picture", picture)  # type: ignore[arg-type]
    page.get_by_role("button", name="Send the finding").click()
    page.wait_for_url(f"{url}/tablet/cars/{job}")


def same_time(text: str) -> str:
    """Return a time of the tablet as the API writes it."""
    return datetime.fromisoformat(text).astimezone(UTC).isoformat().replace("+00:00", "Z")


def kinds_since(tablet: Tablet, job: str, version_of: int) -> list[dict[str, Any]]:
    """Return the history of a car after so many entries."""
    entries: list[dict[str, Any]] = tablet.read(f"/jobs/{job}/history")["entries"]
    return entries[version_of:]


def done_without(tablet: Tablet, shop: Shop, url: str, job: str) -> list[dict[str, str]]:
    """Do ten things to a car and return what waits; the browser and the service stop meanwhile."""
    address, page = f"{url}/tablet/cars/{job}", tablet.page
    tablet.offline(offline=True)
    page.goto(address)
    acting(page, 1, lambda: tap(page, "[data-kind=arrival]"))
    acting(page, 2, lambda: tap(page, ".start"))
    acting(page, 3, lambda: tap(page, ".finish"))
    acting(page, 4, lambda: tap(page, ".next"))
    page.reload()
    expect(page.locator(".steps [aria-current]")).to_have_text("cleaning")
    expect(page.locator("[data-waiting-list] li")).to_have_count(4)
    shop.stop()
    tablet.offline(offline=False)
    acting(page, 5, lambda: tap(page, ".start"))
    acting(page, 6, lambda: tap(page, ".finish"))
    tablet.close()

    page = tablet.open()
    page.goto(address)
    expect(page.locator("[data-waiting-list] li")).to_have_count(6)
    report_with_picture(page, url, job)
    wait_until(lambda: len(queued(page)) == 8, "the finding and its picture")
    acting(page, 9, lambda: tap(page, ".next"))
    page.get_by_label("What exactly it waits for").fill("Wheel trim to come.")
    acting(page, 10, lambda: page.get_by_role("button", name="Waits for parts").click())
    return queued(page)


def test_ten_things_done_without_network_arrive_once_each_in_order_with_their_times(
    tablet: Tablet, shop: Shop, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["coming_car"]
    kept(tablet.page, f"/tablet/cars/{job}", f"/tablet/cars/{job}/finding")
    before = len(tablet.read(f"/jobs/{job}/history")["entries"])
    made = done_without(tablet, shop, line.url, job)
    assert [action["state"] for action in made] == ["waiting"] * 10

    line.cut = 3  # the service takes them, and the tablet does not hear of it
    shop.start()
    emptied(tablet.page)
    assert line.lost == 3
    entries = kinds_since(tablet, job, before)
    assert [entry["kind"] for entry in entries] == [
        *("arrived", "task_started", "task_finished", "moved", "task_started", "task_finished"),
        *("finding", "moved", "held"),
    ]
    moments = [action["madeAt"] for action in made if action["kind"] != "photo"]
    assert [entry["occurred_at"] for entry in entries] == [same_time(moment) for moment in moments]
    assert moments == sorted(moments)
    (finding,) = tablet.read(f"/jobs/{job}/findings")["findings"]
    photos = tablet.read(f"/jobs/{job}/photos")["photos"]
    assert [picture["id"] for picture in finding["pictures"]] == [photo["id"] for photo in photos]
    assert len(photos) == 1


def moved_meanwhile(
    tablet: Tablet, day: FoundedDay, url: str, job: str, *ways: dict[str, Any]
) -> None:
    """Do something about a car as the manager, in a browser of his own."""
    assert tablet.context is not None
    with somebody_else(tablet) as manager:
        person = {name: day.people["manager"][name] for name in ("email", "password")}
        token = manager.post(f"{url}/api/v1/session", data=person).json()["csrf_token"]
        for way in ways:
            current = manager.get(f"{url}/api/v1/jobs/{job}").json()
            open_hold = next((hold["id"] for hold in current["holds"] if not hold["ended_at"]), "")
            path = way["path"].format(hold=open_hold)
            body = {**way["body"], "version": current["version"]}
            answer = manager.post(
                f"{url}/api/v1/jobs/{job}/{path}",
                data=body,
                headers={"X-CSRFToken": token, "Referer": url},
            )
            assert answer.ok, answer.text()


@contextmanager
def somebody_else(tablet: Tablet) -> Iterator[APIRequestContext]:
    """Lend somebody else's way to the API."""
    way = tablet.playwright.request.new_context()
    yield way
    way.dispose()


def test_a_conflict_shows_both_sides_and_mine_is_done_by_a_tap(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["waiting_car"]
    page = tablet.page
    kept(page, f"/tablet/cars/{job}")
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".next"))
    acting(page, 2, lambda: tap(page, ".start"))
    hold = {"path": "holds", "body": {"cause": "weather", "reason": "Hail."}}
    release = {"path": "holds/{hold}/release", "body": {}}
    moved_meanwhile(tablet, day, line.url, job, hold, release)
    tablet.offline(offline=False)
    card = page.locator(".conflict")
    expect(card).to_contain_text("somebody changed this car meanwhile")
    expect(card).to_contain_text("Move to cleaning")
    expect(card.locator(".meanwhile")).to_contain_text(
        "Milo Treen: On hold: waits for weather. Hail."
    )
    assert len(queued(page)) == 2  # what was done after it waits behind it
    card.get_by_role("button", name="Do mine now").click()
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["stage"] == "cleaning"
    kinds = [entry["kind"] for entry in tablet.read(f"/jobs/{job}/history")["entries"]]
    assert kinds[-4:] == ["held", "released", "moved", "task_started"]


def test_a_conflict_that_is_over_is_dropped_by_a_tap_and_other_cars_go_on(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job, held_job = day.places["washed_car"], day.places["held_car"]
    page = tablet.page
    kept(page, f"/tablet/cars/{job}", f"/tablet/cars/{held_job}")
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".next:not(.reasoned)"))
    page.goto(f"{line.url}/tablet/cars/{held_job}")
    acting(page, 2, lambda: tap(page, "[data-kind=release]"))
    steps = [{"path": "moves", "body": {"to": to}} for to in ("correction", "curing")]
    moved_meanwhile(tablet, day, line.url, job, *steps)
    tablet.offline(offline=False)
    card = page.locator(".conflict")
    expect(card).to_contain_text("From curing this is not possible any more.")
    expect(card.get_by_role("button")).to_have_text(["Drop mine"])
    wait_until(lambda: len(queued(page)) == 1, "the other car's release to be sent")
    assert tablet.read(f"/jobs/{held_job}")["on_hold"] is False
    card.get_by_role("button", name="Drop mine").click()
    emptied(page)
    assert tablet.read(f"/jobs/{job}")["stage"] == "curing"


def test_two_windows_send_what_waits_once(tablet: Tablet, line: BadLine, day: FoundedDay) -> None:
    job = day.places["car"]
    page = tablet.page
    kept(page, f"/tablet/cars/{job}")
    before = len(tablet.read(f"/jobs/{job}/history")["entries"])
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".start"))
    acting(page, 2, lambda: tap(page, ".finish"))
    assert tablet.context is not None
    second = tablet.context.new_page()
    second.goto(f"{line.url}/tablet/")
    tablet.offline(offline=False)
    emptied(second)
    kinds = [entry["kind"] for entry in kinds_since(tablet, job, before)]
    assert kinds == ["task_started", "task_finished"]


def test_what_one_person_did_is_never_sent_as_another(
    tablet: Tablet, line: BadLine, day: FoundedDay
) -> None:
    job = day.places["car"]
    page = tablet.page
    kept(page, f"/tablet/cars/{job}")
    tablet.offline(offline=True)
    page.goto(f"{line.url}/tablet/cars/{job}")
    acting(page, 1, lambda: tap(page, ".start"))
    tablet.sign_in(day, "manager")
    tablet.offline(offline=False)
    page.goto(f"{line.url}/tablet/")
    expect(page.locator("[data-queue]")).to_contain_text("1 thing waits for Tam Brackley")
    assert len(queued(page)) == 1
    tablet.sign_in(day, "valeter")
    page.goto(f"{line.url}/tablet/")
    emptied(page)
    assert tablet.read(f"/jobs/{job}/history")["entries"][-1]["actor"] == "Tam Brackley"
