"""Makes the pictures in README anew: `python -m tests.browser.pictures`.

They show the demo as it runs: its last screen, the documents of the API, the operator's page, the
paint of a car; the page behind the link in a dealer's e-mail; and the pages on a working day, which
`make screenshots` takes every one of.
"""

import html
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, Page, sync_playwright

from tests import servers
from tests.browser.conftest import LOOPBACK
from tests.browser.founded import founded, founded_day
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import Service

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "core" / "pictures"
TABLET = {"width": 1024, "height": 768}
UPRIGHT = {"width": 820, "height": 1180}
DRAWING = {"width": 440, "height": 700}
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday")
PAGES = {
    "tablet": ("valeter", "/tablet/"),
    "tablet-car": ("valeter", "/tablet/cars/{car}"),
    "tablet-waits": ("valeter", "/tablet/cars/{curing_car}"),
    "tablet-finding": ("valeter", "/tablet/cars/{car}/finding"),
    "dashboard": ("staff", "/dashboard/"),
    "desk": ("manager", "/desk/"),
    "desk-due": ("owner", "/desk/due"),
    "desk-flow": ("owner", "/desk/flow"),
    "desk-climate": ("manager", "/desk/climate"),
}
LAST_LINES = 46
TERMINAL = """<body style="margin:0;background:#14181d;color:#e8eaed">
<pre style="font:13px/1.35 'DejaVu Sans Mono',monospace;padding:20px;margin:0">{}</pre></body>"""


def main() -> None:
    """Play the demo, photograph what it leaves up, and stop it."""
    demo = subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--stay"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        text = read_until_up(demo)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=servers.chromium_path(), args=["--no-sandbox", "--disable-gpu"]
            )
            page = browser.new_page(viewport=TABLET)  # type: ignore[arg-type]
            photograph(page, text)
            photograph_paint(page, text)
            photograph_decision(browser)
            photograph_pages(browser)
            browser.close()
    finally:
        demo.send_signal(signal.SIGINT)
        demo.wait()


def read_until_up(demo: "subprocess.Popen[str]") -> str:
    """Return what the demo prints, up to its invitation to stop it."""
    lines: list[str] = []
    deadline = time.monotonic() + PATIENCE_SECONDS
    assert demo.stdout is not None
    for line in demo.stdout:
        lines.append(line)
        if "Ctrl-C" in line or time.monotonic() > deadline:
            break
    return "".join(lines)


def photograph(page: Page, text: str) -> None:
    """Take the demo's last screen, the documents and the operator's page."""
    verdict = text.index("VERDICT")
    timeline = text[: text.index("\n\n", verdict)].splitlines()[-LAST_LINES:]
    page.set_content(TERMINAL.format(html.escape("\n".join(timeline))))
    page.screenshot(path=FOLDER / "demo.png", full_page=True)
    url = found(r"(http://127\.0\.0\.1:\d+)", text)
    page.goto(f"{url}/api/docs")
    page.get_by_text("Post one work order", exact=True).first.click()
    page.get_by_text("PX-1042").first.wait_for()
    page.screenshot(path=FOLDER / "docs.png")
    operator = re.search(r"^operator .*?(\S+@\S+)\s+(\S+)$", text, flags=re.MULTILINE)
    assert operator, text
    page.goto(f"{url}/admin/login/")
    page.fill("input[name=username]", operator[1])
    page.fill("input[name=password]", operator[2])
    page.click("input[type=submit]")
    page.goto(f"{url}/admin/jobs/job/?q=TU21ABC")
    page.get_by_text("TU21 ABC").first.click()
    page.get_by_role("heading", level=1).wait_for()
    page.screenshot(path=FOLDER / "admin.png")


def photograph_paint(page: Page, text: str) -> None:
    """Take the plan view of a car's paint, with the key that the demo prints beside it."""
    address = found(r"curl -s '(\S+/paint\.svg)'", text)
    key = found(r"paint\.svg' .*\n\s+-H 'Authorization: Bearer (\S+)'", text)
    page.set_viewport_size(DRAWING)  # type: ignore[arg-type]
    page.set_extra_http_headers({"Authorization": f"Bearer {key}"})
    page.goto(address)
    page.screenshot(path=FOLDER / "paint.png")


def photograph_decision(browser: Browser) -> None:
    """Take the page that answers a request, from a service of its own."""
    with (
        TemporaryDirectory() as folder,
        Service(Path(folder), "--port", "0", environment={}) as own,
    ):
        own.wait_until_ready()
        page = browser.new_page(viewport=UPRIGHT)  # type: ignore[arg-type]
        page.goto(founded(own)["approve"])
        page.screenshot(path=FOLDER / "decision.png", full_page=True)


def photograph_pages(browser: Browser) -> None:
    """Take the pages on a working day, each as who uses it."""
    with (
        TemporaryDirectory() as folder,
        Service(Path(folder), "--port", "0", environment=LOOPBACK) as own,
    ):
        own.wait_until_ready()
        day = founded_day(own)
        for name, (who, address) in PAGES.items():
            context = browser.new_context(viewport=TABLET)  # type: ignore[arg-type]
            person = {field: day.people[who][field] for field in ("email", "password")}
            context.request.post(f"{own.url}/api/v1/session", data=person)
            page = context.new_page()
            page.goto(own.url + address.format(**day.places), wait_until="networkidle")
            if name == "desk-due":
                for weekday in WEEKDAYS:
                    page.get_by_label(weekday).fill("960")
                page.get_by_role("button", name="Set the minutes").click()
                page.wait_for_load_state("networkidle")
            page.screenshot(path=FOLDER / f"{name}.png")
            context.close()


def found(pattern: str, text: str) -> str:
    """Return the first group of the first match."""
    match = re.search(pattern, text)
    assert match, f"{pattern} is not in: {text}"
    return match[1]


if __name__ == "__main__":
    main()
