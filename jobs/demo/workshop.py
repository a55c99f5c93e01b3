"""The workshop's side of the day: people at their tablets, signed in, sending device times."""

import time
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from jobs.demo.cast import Car
from jobs.demo.client import Client
from jobs.demo.dashboard import READY
from jobs.demo.day import Day
from jobs.demo.ledger import Notice

CONFLICT = 409


def words(operations: Iterable[str]) -> str:
    """Return codes of operations as words."""
    return ", ".join(operation.replace("_", " ") for operation in operations)


class Tablet:
    """One person's tablet: it sends each move with the version it last showed."""

    def __init__(self, day: Day, client: Client) -> None:
        self.day = day
        self.client = client

    def books_in(self, car: Car, at: str, remark: str) -> None:
        """Record that the car arrived."""
        self._act(
            car,
            at,
            "arrival",
            {},
            ["job.arrived"],
            text=f"books in the {car.vehicle}: {remark}",
        )

    def moves(self, car: Car, at: str, to: str, *, reason: str = "", why: str = "") -> None:
        """Move the car on, or back with a reason."""
        job = self.day.jobs[car.registration]
        sent = {"to": to, "version": self._version(car)} | ({"reason": reason} if reason else {})
        if to == "ready":
            sent["confirm"] = True  # whoever works on it has looked at what is open
        types = ["job.stage_changed", *([READY] if to == "ready" else [])]
        word = why or (f"rework, {reason}" if reason else "")
        text = f"{job['stage']} -> {to}" + (f": {word}" if word else "")
        self._act(car, at, "moves", sent, types, text=text)

    def is_refused(self, car: Car, at: str, to: str) -> None:
        """Try a move that the service must refuse, and print what it says."""
        before = time.monotonic()
        answer = self.client.expect(
            CONFLICT,
            "POST",
            f"/jobs/{self._id(car)}/moves",
            {"to": to, "version": self._version(car), "occurred_at": self._time(at)},
        )
        stage = self.day.jobs[car.registration]["stage"]
        self.day.tell(
            at,
            self.client.name,
            car,
            f"{stage} -> {to}",
            sent=before,
            notes=[f"409 {answer.json['title']}: {answer.json['detail']}"],
        )

    def overrides(self, car: Car, at: str, to: str, *, reason: str) -> None:
        """Move the car past a running clock, as a manager may with a reason."""
        sent = {"to": to, "version": self._version(car), "override": True, "reason": reason}
        sent["confirm"] = True
        stage = self.day.jobs[car.registration]["stage"]
        self._act(
            car,
            at,
            "moves",
            sent,
            ["job.stage_changed", READY],
            text=f"{stage} -> {to}, override: {reason}",
        )

    def reads_what_is_left(self, car: Car, at: str) -> None:
        """Read the job again after a refusal; later moves are made against what it says."""
        sent = time.monotonic()
        job = self._read(car)
        left = [task["operation"] for task in job["tasks"] if task["state"] == "wanted"]
        text = f"reads the job again: version {job['version']}, to do are {words(left)}"
        self.day.tell(at, self.client.name, car, text, sent=sent)

    def holds(self, car: Car, at: str, cause: str, reason: str) -> None:
        """Put the job on hold."""
        self._act(
            car,
            at,
            "holds",
            {"cause": cause, "reason": reason},
            ["job.held"],
            text=f"on hold for {cause}: {reason}",
            status=201,
        )

    def releases(self, car: Car, at: str, reason: str) -> None:
        """End the one hold of the job."""
        job = self._read(car)
        (hold,) = [hold for hold in job["holds"] if hold["ended_at"] is None]
        path = f"holds/{hold['id']}/release"
        self._act(
            car,
            at,
            path,
            {"reason": reason},
            ["job.released"],
            text=f"released: {reason}",
        )

    def collected(self, car: Car, at: str, remark: str) -> None:
        """Record that the car was collected."""
        text = f"collected: {remark}"
        self._act(car, at, "collection", {"confirm": True}, ["job.collected"], text=text)

    def decides(self, car: Car, at: str, *, decline: str = "") -> None:
        """Accept the order, or decline it with a reason."""
        sent = {"occurred_at": self._time(at)} | ({"reason": decline} if decline else {})
        word, kind = ("decline", "declined") if decline else ("accept", "accepted")
        before = time.monotonic()
        job = self.client.post(f"/work-orders/{self._id(car)}/{word}", sent).json
        text = f"declines: {decline}" if decline else "accepts the order"
        self._done(car, at, job, [f"work_order.{kind}"], text=text, sent=before)

    def works(self, car: Car, at: str, *, again: str = "", **minutes: int) -> None:
        """Do tasks one after the other, each for so many minutes, and print them as one line."""
        path = f"/jobs/{self._id(car)}"
        tasks = {task["operation"]: task for task in self.client.get(path).json["tasks"]}
        begun, moment = time.monotonic(), self.day.clock(at)
        for operation, length in minutes.items():
            task = f"{path}/tasks/{tasks[operation]['id']}"
            self.client.post(f"{task}/start", {"occurred_at": moment.isoformat()})
            moment += timedelta(minutes=length)
            self.client.post(f"{task}/finish", {"occurred_at": moment.isoformat()})
        planned = sum(tasks[operation]["planned_minutes"] for operation in minutes)
        plan = again or f"{planned} planned"
        text = f"since {at}, {sum(minutes.values())} min ({plan}): {words(minutes)}"
        self.day.tell(self.day.shown(moment), self.client.name, car, text, sent=begun)

    def _act(
        self,
        car: Car,
        at: str,
        action: str,
        data: dict[str, Any],
        types: list[str],
        *,
        text: str,
        status: int = 200,
    ) -> None:
        sent = time.monotonic()
        answer = self.client.post(
            f"/jobs/{self._id(car)}/{action}",
            {**data, "occurred_at": self._time(at)},
            status=status,
        )
        self._done(car, at, answer.json, types, text=text, sent=sent)

    def _done(
        self, car: Car, at: str, job: dict[str, Any], types: list[str], *, text: str, sent: float
    ) -> None:
        self._see(car, job)
        notices = [Notice(kind, job["id"], job["version"]) for kind in types]
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=notices)

    def _see(self, car: Car, job: dict[str, Any]) -> None:
        self.day.jobs[car.registration] = job

    def _read(self, car: Car) -> dict[str, Any]:
        job: dict[str, Any] = self.client.get(f"/jobs/{self._id(car)}").json
        self._see(car, job)
        return job

    def _id(self, car: Car) -> str:
        return str(self.day.jobs[car.registration]["id"])

    def _version(self, car: Car) -> int:
        return int(self.day.jobs[car.registration]["version"])

    def _time(self, at: str) -> str:
        return self.day.clock(at).isoformat()
