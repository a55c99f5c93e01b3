"""What a dealer does with what it is told: fetches pictures, acknowledges, answers by a link."""

import hashlib
import json
import re
import time
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from jobs.demo.cast import LYND, TARROW, Car
from jobs.demo.client import API, Client, DemoError
from jobs.demo.day import Day
from jobs.demo.dealers import Dealer
from jobs.demo.ledger import Notice

OK, NOT_FOUND, CONFLICT = 200, 404, 409
FORM = {"Content-Type": "application/x-www-form-urlencoded"}
PAIR = "before and after side by side"


def pictures_in(day: Day, notice: Notice) -> list[dict[str, Any]]:
    """Return the pictures that a webhook told of, as its receiver read them."""
    text = day.said(notice)
    pictures: list[dict[str, Any]] = json.loads(text)["data"]["pictures"]
    return pictures


def fetch(day: Day, notice: Notice, client: Client) -> int:
    """Fetch every picture by the links in a notice, keep what came, and return how many links."""
    links = [link for picture in pictures_in(day, notice) for link in picture["links"].values()]
    for link in links:
        day.fetched[link] = hashlib.sha256(client.get(link).body).hexdigest()
    return len(links)


def to_look_at(day: Day, client: Client) -> dict[str, str]:
    """Return addresses of pictures by what they show."""
    photos = client.get(f"/jobs/{day.jobs[LYND.registration]['id']}/photos").json["photos"]
    (pair,) = [photo for photo in photos if photo["moment"] == "pair"]
    paint = f"{client.base}{API}/jobs/{day.jobs[TARROW.registration]['id']}/paint.svg"
    return {
        f"{LYND.registration}, {PAIR}": pair["links"]["1280"],
        f"{TARROW.registration}, the paint in plan view with its readings": paint,
    }


class AnsweringDealer(Dealer):
    """A dealer that acts on findings and requests."""

    def fetches_pictures(self, car: Car, at: str, kind: str, about: str, outsider: Client) -> None:
        """Fetch the pictures of a notice; another dealer tries the same links with its own key."""
        notice = Notice(kind, *self._job(car), about)
        sent = time.monotonic()
        count = fetch(self.day, notice, self.client)
        links = list(self.day.fetched)[-count:]
        refused = [outsider.ask("GET", link).status for link in links]
        served = self._served(car)
        same = sum(self.day.fetched[link] in served for link in links)
        self.day.tell(
            at,
            self.client.name,
            car,
            f"fetches the pictures by the links in the notice: {count} files, {same} the same "
            "bytes as the API serves",
            sent=sent,
            notes=[f"{outsider.name} tries the same links: {refused.count(NOT_FOUND)} times 404"],
        )

    def acknowledges(self, car: Car, at: str, finding_id: str, note: str) -> None:
        """Acknowledge a "do not drive"; the car stays on hold."""
        job_id, version = self._job(car)
        sent = time.monotonic()
        said = {"note": note, "occurred_at": self.day.clock(at).isoformat()}
        self.client.post(f"/findings/{finding_id}/acknowledge", said)
        notices = [Notice("finding.acknowledged", job_id, version, finding_id, apart=True)]
        text = f"acknowledges: {note}"
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=notices)

    def has_it_transported(self, car: Car, at: str, finding_id: str, by: str) -> None:
        """Record who will transport the car tomorrow, which ends the hold."""
        job_id, version = self._job(car)
        sent, moment = time.monotonic(), self.day.clock(at)
        said = {"how": "transported", "by": by, "occurred_at": moment.isoformat()}
        tomorrow = (moment + timedelta(days=1)).isoformat()
        self.client.post(f"/findings/{finding_id}/clear", {**said, "at": tomorrow})
        also_by = "mail" if car.order.get("contact_email") else ""
        notices = [
            Notice("finding.cleared", job_id, version, finding_id, apart=True, also_by=also_by),
            Notice("job.released", job_id, version + 1),
        ]
        self.day.jobs[car.registration] = self.client.get(f"/jobs/{job_id}").json
        text = f"has it transported: {by}; it must still not be driven"
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=notices)

    def approves_by_link(self, car: Car, at: str, opened: Notice) -> None:
        """Open the link in the e-mail, press the button, and press it once more."""
        found = re.search(r"https?://\S+/decide/\S+", self.day.said(opened))
        if found is None:
            raise DemoError("The e-mail about the request has no link to answer by.")
        link, browser = found[0], Client(self.client.base, self.client.name)  # signed in nowhere
        page = browser.get(link).body.decode()
        sent = time.monotonic()
        self._press(browser, link, page, OK)
        self._press(browser, link, page, CONFLICT)
        job_id, version = self._job(car)
        self.day.tell(
            at,
            self.client.name,
            car,
            "approves by the link in the e-mail, without signing in",
            sent=sent,
            notices=[Notice("request.answered", job_id, version, opened.about)],
            notes=["pressed a second time: 409, it was answered before"],
        )

    def _press(self, browser: Client, link: str, page: str, status: int) -> None:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)
        if token is None:
            raise DemoError("The page behind the link has no form to answer with.")
        said = {"csrfmiddlewaretoken": token[1], "answer": "approve", "name": self.client.name}
        browser.expect(status, "POST", link, urlencode(said), headers=FORM)

    def _served(self, car: Car) -> set[str]:
        """Return the SHA-256 of every file that the API's own list of photographs leads to."""
        photos = self.client.get(f"/jobs/{self._job(car)[0]}/photos").json["photos"]
        links = [link for photo in photos for link in photo["links"].values()]
        return {hashlib.sha256(self.client.get(link).body).hexdigest() for link in links}

    def _job(self, car: Car) -> tuple[str, int]:
        job = self.day.jobs[car.registration]
        return job["id"], job["version"]
