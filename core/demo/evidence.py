"""What a dealer does with what it is told: fetches pictures, acknowledges, answers by a link."""

import hashlib
import json
import time
from typing import Any

from core.demo.cast import Car
from core.demo.client import Client
from core.demo.day import Day
from core.demo.dealers import Dealer
from core.demo.ledger import Notice

NOT_FOUND = 404


def pictures_in(day: Day, notice: Notice) -> list[dict[str, Any]]:
    """Return the pictures that a webhook told of, as its receiver read them."""
    text = day.said(notice)
    pictures: list[dict[str, Any]] = json.loads(text)["data"]["pictures"]
    return pictures


def fetch(day: Day, notice: Notice, client: Client) -> int:
    """Fetch every picture by the links in a notice, keep what came, and return how many links."""
    links = [link for one in pictures_in(day, notice) for link in one["links"].values()]
    for link in links:
        day.fetched[link] = hashlib.sha256(client.get(link).body).hexdigest()
    return len(links)


class AnsweringDealer(Dealer):
    """A dealer that acts on findings and requests."""

    def fetches_pictures(self, car: Car, at: str, kind: str, about: str, other: Client) -> None:
        """Fetch the pictures of a notice; another dealer tries the same links with its own key."""
        notice = Notice(kind, *self._job(car), about)
        sent = time.monotonic()
        count = fetch(self.day, notice, self.client)
        links = list(self.day.fetched)[-count:]
        refused = [other.ask("GET", link).status for link in links]
        served = self._served(car)
        same = sum(self.day.fetched[link] in served for link in links)
        self.day.tell(
            at,
            self.client.name,
            car,
            f"fetches the pictures by the links in the notice: {count} files, {same} the same "
            "bytes as the API serves",
            sent=sent,
            notes=[f"{other.name} tries the same links: {refused.count(NOT_FOUND)} times 404"],
        )

    def acknowledges(self, car: Car, at: str, finding_id: str, note: str) -> None:
        """Acknowledge a "do not drive", which ends the hold."""
        job_id, version = self._job(car)
        sent = time.monotonic()
        said = {"note": note, "occurred_at": self.day.clock(at).isoformat()}
        self.client.post(f"/findings/{finding_id}/acknowledge", said)
        notices = [
            Notice("finding.acknowledged", job_id, version, finding_id, apart=True),
            Notice("job.released", job_id, version + 1),
        ]
        self.day.jobs[car.registration] = self.client.get(f"/jobs/{job_id}").json
        text = f"acknowledges: {note}"
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=notices)

    def approves(self, car: Car, at: str, opened: Notice) -> None:
        """Approve a request for extra work."""
        sent = time.monotonic()
        self.client.post(f"/requests/{opened.about}/answer", {"answer": "approve"})
        job_id, version = self._job(car)
        notice = Notice("request.answered", job_id, version, opened.about)
        self.day.tell(at, self.client.name, car, "approves the request", sent=sent, notices=[notice])

    def _served(self, car: Car) -> set[str]:
        """Return the SHA-256 of every file that the API's own list of photographs leads to."""
        photos = self.client.get(f"/jobs/{self._job(car)[0]}/photos").json["photos"]
        links = [link for photo in photos for link in photo["links"].values()]
        return {hashlib.sha256(self.client.get(link).body).hexdigest() for link in links}

    def _job(self, car: Car) -> tuple[str, int]:
        job = self.day.jobs[car.registration]
        return job["id"], job["version"]
