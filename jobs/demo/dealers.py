"""The dealers' side of the day: a stock system with its key, and a person signed in."""

import csv
import io
import time
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import uuid4

from jobs.demo.cast import Car
from jobs.demo.client import Answer, Client, DemoError
from jobs.demo.day import Day
from jobs.demo.ledger import Notice

CREATED = 201


def order_for(car: Car, due_at: str) -> dict[str, Any]:
    """Return the work order for a car as its dealer sends it."""
    return {
        "registration": car.registration,
        "make": car.make,
        "model": car.model,
        "due_at": due_at,
        **car.order,
    }


class Dealer:
    """One dealer's system or person; every order is posted with an Idempotency-Key."""

    def __init__(self, day: Day, client: Client, name: str) -> None:
        self.day = day
        self.client = client
        self.name = name

    def posts(self, car: Car, at: str, due_at: str, *, again: str = "") -> None:
        """Post one work order."""
        sent = time.monotonic()
        answer = self._post(order_for(car, due_at), str(uuid4()))
        self._received(car, at, answer.json, sent=sent, again=again)

    def posts_twice(self, car: Car, at: str, due_at: str) -> None:
        """Post one work order and, as if no answer had come, the same again."""
        key, order = str(uuid4()), order_for(car, due_at)
        sent = time.monotonic()
        first, second = self._post(order, key), self._post(order, key)
        if first.body != second.body:
            raise DemoError("The same Idempotency-Key was answered with something else.")
        note = "sent again with the same Idempotency-Key: same answer, one job"
        self._received(car, at, first.json, sent=sent, notes=[note])

    def posts_sheet(
        self, at: str, cars: Sequence[Car], due_at: str, *, mistyped: Mapping[str, Any]
    ) -> Car:
        """Post a CSV whose last-named car has mistyped cells; return that car.

        `mistyped` holds the wrong cells by column, and must be refused alone.
        """
        *_, wrong = cars
        orders = [order_for(car, due_at) for car in cars]
        orders[-1].update(mistyped)
        sent = time.monotonic()
        answer = self.client.post("/work-orders/batch", sheet(orders), headers=self._csv()).json
        self.day.tell(
            at,
            self.client.name,
            None,
            f"sends {len(cars)} orders as CSV",
            sent=sent,
            notes=[f"{answer['received']} taken in, {answer['refused']} refused"],
        )
        for car, line in zip(cars, answer["lines"], strict=True):
            if line["job_id"]:
                job = self.client.get(f"/jobs/{line['job_id']}").json
                self._received(car, at, job, sent=sent, line=line["line"])
            elif car is wrong:
                self._refused(car, at, line, sent)
        return wrong

    def corrects(self, car: Car, at: str, due_at: str) -> None:
        """Send the refused line again, put right, as a CSV of one line."""
        sent = time.monotonic()
        text = sheet([order_for(car, due_at)])
        (line,) = self.client.post("/work-orders/batch", text, headers=self._csv()).json["lines"]
        job = self.client.get(f"/jobs/{line['job_id']}").json
        self._received(car, at, job, sent=sent, again="line 4 put right")

    def changes(self, car: Car, at: str, text: str, **fields: Any) -> None:
        """Change what was ordered; the workshop's tablets do not know of it yet."""
        job_id = self.day.jobs[car.registration]["id"]
        sent = time.monotonic()
        job = self.client.expect(200, "PATCH", f"/work-orders/{job_id}", fields).json
        notice = Notice("work_order.changed", job["id"], job["version"])
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=[notice])

    def _post(self, order: Mapping[str, Any], key: str) -> Answer:
        headers = {"Idempotency-Key": key}
        return self.client.post("/work-orders", order, status=CREATED, headers=headers)

    def _csv(self) -> dict[str, str]:
        return {"Content-Type": "text/csv; charset=utf-8", "Idempotency-Key": str(uuid4())}

    def _received(
        self,
        car: Car,
        at: str,
        job: dict[str, Any],
        *,
        sent: float,
        again: str = "",
        line: int = 0,
        notes: Sequence[str] = (),
    ) -> None:
        self.day.know(car, job, self.name)
        accepted = job["decision"] == "accepted"
        notices = [Notice("work_order.received", job["id"], 1)]
        if accepted:
            notices.append(Notice("work_order.accepted", job["id"], job["version"]))
        what = f"line {line}" if line else again or f"order {car.order['dealer_ref']}"
        state = "taken in and accepted" if accepted else "waits for the workshop's yes"
        remarks = [f"remark on {remark['field']}: {remark['message']}" for remark in job["remarks"]]
        self.day.tell(
            at,
            self.client.name,
            car,
            f"{what}, {car.vehicle}: {state}",
            sent=sent,
            notices=notices,
            notes=[*notes, *remarks],
        )

    def _refused(self, car: Car, at: str, line: Mapping[str, Any], sent: float) -> None:
        wrong = [f"{error['field']}: {error['message']}" for error in line["problem"]["errors"]]
        text = f"line {line['line']}, {car.vehicle}: refused with {line['status']}"
        self.day.tell(at, self.client.name, car, text, sent=sent, notes=wrong)


def sheet(orders: Sequence[Mapping[str, Any]]) -> str:
    """Return orders as CSV; lists are separated by semicolons within their cell."""
    columns = list(dict.fromkeys(name for order in orders for name in order))
    written = io.StringIO()
    writer = csv.DictWriter(written, columns, restval="")
    writer.writeheader()
    for order in orders:
        writer.writerow(
            {
                name: ";".join(value) if isinstance(value, list) else value
                for name, value in order.items()
            }
        )
    return written.getvalue()
