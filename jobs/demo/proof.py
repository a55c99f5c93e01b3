"""Reads back what was found, photographed and refinished, and compares it with what was done.

The workshop's desk asks the service afresh; what it must say follows from the demo's own calls.
"""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit
from xml.etree import ElementTree as ET

from jobs.demo import drawn
from jobs.demo.cast import DRAY, HOB, LYND, MOOR, OSK, SELA, TARROW, Car
from jobs.demo.client import Client, DemoError
from jobs.demo.condition import AS_MADE
from jobs.demo.day import Day
from jobs.demo.props import BRAKES, CHIPS, FILM, LEFT_BEHIND, LENS, REPAIRED, SELA_CAME, SELA_LEAVES

NOT_FOUND = 404
Check = Callable[["Reading"], str]


@dataclass(slots=True)
class Reading:
    """What the service says now, read by the desk; `other` is a system of another dealer."""

    day: Day
    desk: Client
    other: Client
    faults: list[str] = field(default_factory=list)

    def of(self, car: Car, part: str = "") -> Any:
        """Return a job, or a part of it."""
        return self.desk.get(f"/jobs/{self.day.jobs[car.registration]['id']}{part}").json

    def kinds(self, car: Car) -> list[str]:
        """Return the kinds of the job's history entries, in order."""
        return [entry["kind"] for entry in self.of(car, "/history")["entries"]]

    def must(self, holds: bool, fault: str) -> None:  # noqa: FBT001  reads as a sentence
        """Note a fault unless it holds."""
        if not holds:
            self.faults.append(fault)


def read_back(day: Day, desk: Client, outsider: Client) -> tuple[list[tuple[str, str]], list[str]]:
    """Return what was read back, a name and a sentence for each subject, and the faults."""
    reading = Reading(day, desk, outsider)
    return [(name, told_by(check, reading)) for name, check in CHECKS.items()], reading.faults


def told_by(check: Check, reading: Reading) -> str:
    """Return what a check says, or that it found a fault."""
    before = len(reading.faults)
    try:
        text = check(reading)
    except (LookupError, TypeError, ValueError, DemoError) as error:
        reading.faults.append(f"It cannot be read back: {error!r}.")
    return text if len(reading.faults) == before else "WRONG, see below"


def photographs(reading: Reading) -> str:
    """Check every upload and every file kept of it, and what the dealer fetched by a notice."""
    uploads = reading.day.uploads
    kept = [
        photo
        for car in dict.fromkeys(upload.car for upload in uploads)
        for photo in reading.desk.get(f"/jobs/{reading.day.jobs[car]['id']}/photos").json["photos"]
    ]
    sent = {upload.photo_id: upload.sha256 for upload in uploads}
    single = {photo["id"]: photo["sha256"] for photo in kept if photo["moment"] != "pair"}
    reading.must(single == sent, "The photographs kept are not those that were uploaded.")
    pairs = [photo for photo in kept if photo["moment"] == "pair"]
    reading.must(
        [{pair["before_id"], pair["after_id"]} <= set(sent) for pair in pairs] == [True],
        "The before and the after are not one pair.",
    )
    files = {place(link): link for photo in kept for link in photo["links"].values()}
    digests = {path: hashlib.sha256(body).hexdigest() for path, body in fetched(reading, files)}
    same = sum(digests.get(place(link)) == digest for link, digest in reading.day.fetched.items())
    reading.must(
        0 < same == len(reading.day.fetched),
        "What the dealer fetched by the links in its notices is not what the API serves.",
    )
    return (
        f"{len(sent)} and a pair of them kept as {len(files)} files without place, remark or other "
        f"metadata; {same} fetched by links in notices, the same bytes; 404 for another dealer"
    )


def fetched(reading: Reading, files: dict[str, str]) -> Iterator[tuple[str, bytes]]:
    """Fetch every file, look at it, and see that another dealer gets none."""
    for path, link in files.items():
        body = reading.desk.get(link).body
        size = int(path.rpartition("/")[2])
        reading.must(drawn.longest_side(body) <= size, f"{path} is longer than {size} pixels.")
        reading.must(not drawn.says_more_than_pixels(body), f"{path} holds metadata.")
        refused = reading.other.ask("GET", link).status == NOT_FOUND
        reading.must(refused, f"Another dealer's key opens {path}.")
        yield path, body


def place(link: str) -> str:
    """Return the path of a link: its end differs from hour to hour."""
    return urlsplit(link).path


def paint(reading: Reading) -> str:
    """Check that the survey names the panel that was painted over, and that this was reported."""
    survey = reading.of(TARROW, "/paint")
    measured = {panel["panel"]: panel for panel in survey["panels"] if panel["microns"] is not None}
    reading.must(set(measured) == set(FILM), "The survey lacks panels that were measured.")
    unusual = [panel for panel, found in measured.items() if found["film_class"] != AS_MADE]
    reading.must(unusual == [REPAIRED], f"The survey finds {unusual}, not the {REPAIRED}.")
    reading.must(survey["film"] == "no", "The survey forgot that no film lies on the car.")
    findings = reading.of(TARROW, "/findings")["findings"]
    sent = [
        (finding["kind"], finding["area"]) for finding in findings if finding["from_paint_survey"]
    ]
    reading.must(sent == [("provenance", REPAIRED)], "The provenance finding is missing.")
    address = f"/jobs/{reading.day.jobs[TARROW.registration]['id']}/paint.svg"
    drawing = ET.fromstring(reading.desk.get(address).body)  # noqa: S314  our own service
    reading.must(drawing.tag.endswith("}svg"), "The paint is not drawn as SVG.")
    film = f"{measured[REPAIRED]['microns']:.0f} µm, {measured[REPAIRED]['film_class_words']}"
    return (
        f"of {len(measured)} panels only the {REPAIRED} stands out, {film}, no film on it; "
        "reported once"
    )


def danger(reading: Reading) -> str:
    """Check that the car stood still from the finding until its transport was recorded."""
    findings = reading.of(HOB, "/findings")["findings"]
    (found,) = [finding for finding in findings if finding["weight"] == BRAKES["weight"]]
    reading.must(bool(found["caution"]), "The finding carries no caution.")
    reading.must(
        found["acknowledged_side"] == "dealer" and found["over_how"] == "transported",
        "The dealer did not acknowledge it, or no transport was recorded.",
    )
    reading.must(
        found["must_not_be_driven"] and not found["holds_the_job"],
        "The record of the transport did not end the hold, or made the car safe to drive.",
    )
    kinds = reading.kinds(HOB)
    order = kinds[kinds.index("finding") :]
    reading.must(
        order == ["finding", "held", "finding_seen", "finding_cleared", "released"],
        f"After the finding came {', '.join(order)}.",
    )
    return (
        f"{HOB.registration} held from the finding until {found['over_recorded_by']} had it "
        "transported; it must still not be driven"
    )


def extra_work(reading: Reading) -> str:
    """Check that the one answer to the request stands, and became the task."""
    (request,) = reading.of(MOOR, "/requests")["requests"]
    reading.must(request["state"] == "approved", "The request is not approved.")
    reading.must(request["closed_way"] == "link", "It was not the link that answered.")
    reading.must(request["price"] == CHIPS["price"], "The request lost its price.")
    closed = reading.kinds(MOOR).count("request_closed")
    reading.must(closed == 1, f"The request was closed {closed} times.")
    tasks = [task for task in reading.of(MOOR)["tasks"] if task["operation"] in CHIPS["operations"]]
    planned = [task["planned_minutes"] for task in tasks]
    reading.must(planned == [CHIPS["minutes"]], "The approval did not become one task.")
    return f"approved once, by {request['closed_by']}; the task was added with its minutes"


def coats(reading: Reading) -> str:
    """Check that no coat went on before the one below had flashed off."""
    (task,) = reading.of(MOOR, "/coats")["tasks"]
    applied = task["coats"]
    reading.must([coat["number"] for coat in applied] == [1, 2, 3], "A coat is missing.")
    for coat in applied:
        reading.must(not coat["early"], f"Coat {coat['number']} went on too early.")
    return f"{len(applied)} on {MOOR.registration}, each after the one below had flashed off"


def waits(reading: Reading) -> str:
    """Check that a hand closed the drying, and that a late reading moved the end of the cure."""
    felt = reading.kinds(OSK)
    after = felt[felt.index("touch_tested") :]
    reading.must("moved" in after, "The car was ready before anybody felt the seats.")
    (moved,) = [
        entry for entry in reading.of(LYND, "/history")["entries"] if entry["kind"] == "wait_moved"
    ]
    was, until = (moment(moved["data"][name]) for name in ("was", "until"))
    reading.must(was < until, "A colder reading did not make the dressing later.")
    (override,) = [
        entry for entry in reading.of(LYND, "/history")["entries"] if entry["data"].get("override")
    ]
    reading.must(bool(override["reason"]), "The override has no reason.")
    later = round((until - was).total_seconds() / 60)
    return (
        f"seats of {OSK.registration} felt dry before ready; the dressing of {LYND.registration} "
        f"{later} min later by a late reading; one override, with its reason"
    )


def supplied(reading: Reading) -> str:
    """Check that what the dealer supplied is ticked off."""
    states = {item["item"]: item["state"] for item in reading.of(DRAY, "/supplied")["items"]}
    reading.must(states == {LENS: "fitted"}, "What the dealer supplied is not ticked off.")
    return f"{LENS}: {states.get(LENS)}"


def hand_over(reading: Reading) -> str:
    """Check that belongings went back before the car, and that the walk-rounds differ as sent."""
    job = reading.of(SELA)
    belongings = [finding["belonging"] for finding in reading.of(SELA, "/findings")["findings"]]
    back = [belonging["returned_at"] for belonging in belongings if belonging]
    in_time = len(back) == 1 and moment(back[0]) <= moment(job["collected_at"])
    reading.must(in_time, "The car went before its belongings.")
    texts = [receipt.text for box in reading.day.postboxes.values() for receipt in box.all()]
    reading.must(
        not any(LEFT_BEHIND in text for text in texts), "A notice names what lay in the car."
    )
    changed = {name for name, value in SELA_LEAVES.items() if value != SELA_CAME[name]}
    differences = reading.of(SELA, "/walk-rounds")["differences"]
    about = {difference["about"] for difference in differences}
    reading.must(about == changed, f"The walk-rounds differ in {', '.join(sorted(about))}.")
    return (
        "belongings signed back before it left, named in no notice; "
        f"{len(differences)} differences between the walk-rounds"
    )


def moment(instant: str) -> datetime:
    """Return an instant of an answer."""
    return datetime.fromisoformat(instant)


CHECKS: dict[str, Check] = {
    "pictures": photographs,
    "paint": paint,
    "danger": danger,
    "extra work": extra_work,
    "coats": coats,
    "waits": waits,
    "supplied": supplied,
    "hand-over": hand_over,
}
