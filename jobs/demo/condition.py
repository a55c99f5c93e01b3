"""What is found, photographed and refinished on a car, taken down at the tablets."""

import hashlib
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

from jobs.demo import drawn
from jobs.demo.cast import Car
from jobs.demo.client import DemoError
from jobs.demo.day import Upload
from jobs.demo.ledger import Notice
from jobs.demo.timeline import counted
from jobs.demo.workshop import CONFLICT, Tablet, words

CREATED, AGAIN = 201, 200
DO_NOT_DRIVE = "do_not_drive"
AS_MADE = "as_made"


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph and what it shows."""

    picture: bytes
    moment: str
    view: str = ""
    area: str = ""
    caption: str = ""

    @property
    def words(self) -> str:
        """Return what it is, in words."""
        return f"{words([self.view])}, {self.moment}"

    def fields(self) -> dict[str, str]:
        """Return the fields of the form that are filled in."""
        named = {name: getattr(self, name) for name in ("moment", "view", "area", "caption")}
        return {name: value for name, value in named.items() if value}


class NotingTablet(Tablet):
    """A tablet that also takes down what is found on a car and what is put on it."""

    def walks_round(self, car: Car, at: str, occasion: str, **record: Any) -> None:
        """Record what the car is like as it comes or leaves; print what differs."""
        answer, sent = self._post(car, at, "walk-rounds", {"occasion": occasion, **record})
        standing = answer[occasion]
        seen = [
            f"{standing['mileage']:,} {standing['mileage_unit']}",
            f"fuel {standing['fuel_percent']} %",
            counted(standing["keys_count"], "key"),
            *(f"no {words([item])}" for item, is_ in standing["items"].items() if is_ == "absent"),
            *(damage["noticed"] for damage in standing["damage"]),
        ]
        self._tell(
            car,
            at,
            f"walk-round on {occasion}: {', '.join(seen)}",
            sent=sent,
            notices=[self._notice(car, "walk_round.recorded", standing["id"])],
            notes=[difference["text"] for difference in answer["differences"]],
        )

    def photographs(self, car: Car, at: str, shot: Shot, *, twice: bool = False) -> None:
        """Upload a photograph, twice as if no answer had come."""
        sent = time.monotonic()
        self._upload(car, at, shot, again=twice)
        notes = ["sent again with the same client_id: one photograph"] if twice else []
        self._tell(car, at, f"photographs the car, {shot.words}", sent=sent, notes=notes)

    def finds(
        self, car: Car, at: str, *, shots: Sequence[Shot] = (), note: str = "", **finding: Any
    ) -> str:
        """Report a finding with its pictures; return its id. "Do not drive" holds the job."""
        ids = [self._upload(car, at, shot) for shot in shots]
        answer, sent = self._post(car, at, "findings", {"photo_ids": ids, **finding})
        notice = self._notice(car, "finding.reported", answer["id"])
        notices = [notice]
        if answer["weight"] == DO_NOT_DRIVE:
            also_by = "mail" if car.order.get("contact_email") else ""
            self._read(car)
            notices = [
                replace(notice, apart=True, also_by=also_by),
                Notice("job.held", notice.job_id, notice.version + 1),
            ]
        pictures = f", {len(shots)} pictures" if shots else ""
        text = f"finds ({answer['weight_words']}{pictures}): {answer['noticed']}"
        self._tell(
            car, at, text, sent=sent, notices=notices, notes=[remark for remark in [note] if remark]
        )
        return str(answer["id"])

    def keeps(self, car: Car, at: str, area: str, noticed: str, *, kept_at: str) -> None:
        """Log something of somebody's that lay in the car."""
        answer, sent = self._post(
            car,
            at,
            "findings",
            {
                "kind": "belongings",
                "weight": "for_information",
                "area": area,
                "noticed": noticed,
                "belonging": {"what": "item", "kept_at": kept_at},
            },
        )
        notices = [self._notice(car, "finding.reported", answer["id"])]
        text = f"logs what lay in the car: {noticed}, kept at {kept_at}"
        self._tell(car, at, text, sent=sent, notices=notices)

    def hands_back(self, car: Car, at: str, to: str) -> None:
        """Sign the one belonging of the car back."""
        findings = self.client.get(f"/jobs/{self._id(car)}/findings").json["findings"]
        (belonging_id,) = [
            finding["belonging"]["id"] for finding in findings if finding["belonging"]
        ]
        path = f"belongings/{belonging_id}/return"
        _, sent = self._post(car, at, path, {"returned_to": to}, status=200)
        notices = [self._notice(car, "belonging.returned", belonging_id)]
        self._tell(
            car, at, f"hands the belongings back, signed for by {to}", sent=sent, notices=notices
        )

    def may_not_hand_over(self, car: Car, at: str) -> None:
        """Try to let a car go while something of somebody's is still here."""
        problem, sent = self._post(car, at, "collection", {}, status=CONFLICT)
        note = f"409 {problem['title']}: {problem['detail']}"
        self._tell(car, at, "the driver is here for it", sent=sent, notes=[note])

    def sees_the_change(self, car: Car, at: str) -> None:
        """Mark the dealer's change of the order as seen."""
        (change,) = self._read(car)["changes_to_see"]
        path = f"changes/{change['number']}/seen"
        _, sent = self._post(car, at, path, {}, status=200)
        notices = [self._notice(car, "work_order.change_seen", str(change["number"]))]
        self._tell(car, at, "has seen the change of the order", sent=sent, notices=notices)

    def reads_the_paint(
        self, car: Car, at: str, readings: Mapping[str, Sequence[float]], plastic: Sequence[str]
    ) -> None:
        """Measure the film by panel, and print what the survey says of it."""
        spots = [
            {"panel": panel, "material": "steel", "readings": list(microns)}
            for panel, microns in readings.items()
        ] + [{"panel": panel, "material": "plastic"} for panel in plastic]
        _, sent = self._post(car, at, "paint-readings", {"spots": spots})
        survey = self.client.get(f"/jobs/{self._id(car)}/paint").json
        usual = survey["baselines"][-1]["median_microns"]
        unusual = [
            f"{panel['name']} {panel['film_class_words']}, {panel['microns']:.0f} µm"
            for panel in survey["panels"]
            if panel["microns"] is not None and panel["film_class"] != AS_MADE
        ]
        text = f"reads the paint of {len(readings)} panels, usual {usual:.0f} µm: "
        note = "plastic, no reading: " + words(plastic)
        self._tell(car, at, text + (", ".join(unusual) or "all alike"), sent=sent, notes=[note])

    def looks_for_a_film(self, car: Car, at: str) -> None:
        """Look for a film or wrap before a thick panel is called repainted, and find none."""
        _, sent = self._post(car, at, "paint-films", {"film": "no"})
        self._tell(car, at, "looks for a film or wrap on the car: none", sent=sent)

    def sends_what_is_offered(self, car: Car, at: str) -> None:
        """Send the one finding that the paint survey offers; it never sends one by itself."""
        (offer,) = self.client.get(f"/jobs/{self._id(car)}/paint").json["offered_findings"]
        self.finds(car, at, note="offered by the paint survey, sent by hand", **offer)

    def proposes(self, car: Car, at: str, **proposal: Any) -> Notice:
        """Ask the dealer for extra work; return the notice that tells it."""
        answer, sent = self._post(car, at, "requests", {"hold": False, **proposal})
        notice = self._notice(car, "request.opened", answer["id"])
        price = f"{answer['price']} {answer['currency']}, {answer['minutes']} min"
        self._tell(
            car, at, f"asks for extra work: {answer['what']}, {price}", sent=sent, notices=[notice]
        )
        return notice

    def ticks(self, car: Car, at: str, item: str, state: str, note: str) -> None:
        """Tick off something the dealer supplied."""
        data = {"item": item, "state": state, "note": note}
        _, sent = self._post(car, at, "supplied", data, status=200)
        notices = [self._notice(car, "supplied.ticked", item)]
        text = f"supplied by the dealer, {item}: {words([state])}, {note}"
        self._tell(car, at, text, sent=sent, notices=notices)

    def begins(self, car: Car, at: str, operation: str) -> None:
        """Start a task that something is done within."""
        task = self._task(car, operation)
        _, sent = self._post(car, at, f"tasks/{task['id']}/start", {}, status=200)
        text = f"begins with {words([operation])}, {task['planned_minutes']} min planned"
        self._tell(car, at, text, sent=sent)

    def ends(self, car: Car, at: str, operation: str) -> None:
        """Finish a task."""
        path = f"tasks/{self._task(car, operation)['id']}/finish"
        task, sent = self._post(car, at, path, {}, status=200)
        self._tell(car, at, f"ends: {words([operation])}, {task['actual_minutes']} min", sent=sent)

    def puts_on(self, car: Car, at: str, operation: str, kind: str, minutes: int) -> None:
        """Put a coat on, which starts its timer."""
        path = f"tasks/{self._task(car, operation)['id']}/coats"
        coat, sent = self._post(car, at, path, {"kind": kind, "flash_off_minutes": minutes})
        until = self.day.shown_text(coat["flashed_off_at"])
        text = f"coat {coat['number']}, {kind}: flashes off until {until}, {minutes} min by the tin"
        self._tell(car, at, text, sent=sent)

    def is_too_early_with(self, car: Car, at: str, operation: str, kind: str) -> None:
        """Try to put a coat on before the last has flashed off."""
        path = f"tasks/{self._task(car, operation)['id']}/coats"
        problem, sent = self._post(car, at, path, {"kind": kind}, status=CONFLICT)
        until = self.day.shown_text(problem["until"])
        self._tell(
            car, at, f"another coat, {kind}?", sent=sent, notes=[f"409 flashing off until {until}"]
        )

    def _upload(self, car: Car, at: str, shot: Shot, *, again: bool = False) -> str:
        fields = {"client_id": str(uuid4()), "occurred_at": self._time(at), **shot.fields()}
        body, headers = drawn.form(shot.picture, **fields)
        path = f"/jobs/{self._id(car)}/photos"
        photo = self.client.post(path, body, status=CREATED, headers=headers).json
        if again:
            second = self.client.post(path, body, status=AGAIN, headers=headers).json
            if second["id"] != photo["id"]:
                raise DemoError("The same client_id made a second photograph.")
        sha256 = hashlib.sha256(shot.picture).hexdigest()
        self.day.uploads.append(Upload(car.registration, photo["id"], sha256))
        return str(photo["id"])

    def _task(self, car: Car, operation: str) -> dict[str, Any]:
        tasks = self.client.get(f"/jobs/{self._id(car)}").json["tasks"]
        found: dict[str, Any] = next(task for task in tasks if task["operation"] == operation)
        return found

    def _post(
        self, car: Car, at: str, path: str, data: Mapping[str, Any], *, status: int = CREATED
    ) -> tuple[dict[str, Any], float]:
        """Post something about a car; return the answer and when it was sent."""
        sent = time.monotonic()
        body = {**data, "occurred_at": self._time(at)}
        answer = self.client.expect(status, "POST", f"/jobs/{self._id(car)}/{path}", body)
        return answer.json, sent

    def _notice(self, car: Car, kind: str, about: str) -> Notice:
        return Notice(kind, self._id(car), self._version(car), about)

    def _tell(
        self,
        car: Car,
        at: str,
        text: str,
        *,
        sent: float,
        notices: Iterable[Notice] = (),
        notes: Iterable[str] = (),
    ) -> None:
        self.day.tell(at, self.client.name, car, text, sent=sent, notices=notices, notes=notes)
