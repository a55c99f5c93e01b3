"""The demo's reading back: it names whatever the service does not say as it was taken down."""

import copy
import hashlib
import io
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import pytest
from PIL import Image

from jobs.demo import drawn, proof
from jobs.demo.cast import DRAY, HOB, LYND, MOOR, OSK, SELA, TARROW
from jobs.demo.day import Upload
from jobs.demo.ledger import Notice, Receipt
from jobs.demo.props import FILM, LEFT_BEHIND, LENS, REPAIRED

LINK = "http://service.example/api/v1/photos/{}/1280"
UPLOADED = hashlib.sha256(b"as it was sent").hexdigest()


def pixels(width: int) -> bytes:
    """Return a JPEG of this width and nothing else."""
    written = io.BytesIO()
    Image.new("RGB", (width, 40), "grey").save(written, "JPEG")
    return written.getvalue()


PLAIN = pixels(1280)


def photo(photo_id: str, moment: str, **more: Any) -> dict[str, Any]:
    return {
        "id": photo_id,
        "moment": moment,
        "sha256": UPLOADED,
        "before_id": None,
        "after_id": None,
        "links": {"1280": LINK.format(photo_id)},
        **more,
    }


def panel(code: str) -> dict[str, Any]:
    film_class = "much_built_up" if code == REPAIRED else "as_made"
    return {
        "panel": code,
        "microns": 261.0 if code == REPAIRED else 110.0,
        "film_class": film_class,
        "film_class_words": film_class.replace("_", " "),
    }


GOOD: dict[str, Any] = {
    f"{LYND.registration}/photos": {
        "photos": [
            photo("one", "before"),
            photo("two", "after"),
            photo("both", "pair", before_id="one", after_id="two"),
        ]
    },
    f"{TARROW.registration}/paint": {
        "film": "no",
        "panels": [panel(code) for code in FILM],
    },
    f"{TARROW.registration}/findings": {
        "findings": [{"kind": "provenance", "area": REPAIRED, "from_paint_survey": True}]
    },
    f"{HOB.registration}/findings": {
        "findings": [
            {
                "weight": "do_not_drive",
                "caution": "A technician must look at it.",
                "acknowledged_side": "dealer",
                "over_how": "transported",
                "over_recorded_by": "Ines",
                "must_not_be_driven": True,
                "holds_the_job": False,
            }
        ]
    },
    f"{HOB.registration}/history": {
        "entries": [
            {"kind": kind}
            for kind in ("moved", "finding", "held", "finding_seen", "finding_cleared", "released")
        ]
    },
    f"{MOOR.registration}/requests": {
        "requests": [
            {"state": "approved", "closed_way": "link", "closed_by": "Dara", "price": "45.00"}
        ]
    },
    f"{MOOR.registration}/history": {"entries": [{"kind": "request_closed"}]},
    MOOR.registration: {"tasks": [{"operation": "touch_in", "planned_minutes": 30}]},
    f"{MOOR.registration}/coats": {
        "tasks": [
            {
                "coats": [
                    {
                        "number": number,
                        "early": False,
                    }
                    for number in (1, 2, 3)
                ]
            }
        ]
    },
    f"{OSK.registration}/history": {"entries": [{"kind": "touch_tested"}, {"kind": "moved"}]},
    f"{LYND.registration}/history": {
        "entries": [
            {
                "kind": "wait_moved",
                "data": {"was": "2027-03-01T18:00:00Z", "until": "2027-03-01T18:40:00Z"},
                "reason": "It was colder than before.",
            },
            {"kind": "moved", "data": {"override": True}, "reason": "Under cover."},
        ]
    },
    f"{DRAY.registration}/supplied": {"items": [{"item": LENS, "state": "fitted"}]},
    SELA.registration: {"collected_at": "2027-03-01T14:05:00Z"},
    f"{SELA.registration}/findings": {
        "findings": [{"belonging": {"returned_at": "2027-03-01T14:02:00Z"}}]
    },
    f"{SELA.registration}/walk-rounds": {
        "differences": [{"about": name} for name in ("mileage", "fuel_percent", "keys_count")]
    },
}


class Service:
    """Answers what it is told to; the ids of its jobs are the cars' registrations."""

    def __init__(self) -> None:
        self.says = copy.deepcopy(GOOD)
        self.files = {LINK.format(name): PLAIN for name in ("one", "two", "both")}
        self.other_gets = 404

    def get(self, path: str) -> Any:
        """Answer the desk."""
        if path.endswith("paint.svg"):
            return SimpleNamespace(body=b'<svg xmlns="http://www.w3.org/2000/svg"/>')
        if path in self.files:
            return SimpleNamespace(body=self.files[path])
        return SimpleNamespace(json=self.says[path.removeprefix("/jobs/")])

    def ask(self, method: str, path: str) -> Any:
        """Answer another dealer."""
        del method, path
        return SimpleNamespace(status=self.other_gets)


class Told:
    """A channel's receipts."""

    def __init__(self) -> None:
        self.texts = ["A finding was reported."]

    def all(self) -> list[Receipt]:
        """Return them."""
        notice = Notice("finding.reported", "job", 1)
        return [Receipt("id", notice, 0.0, 204, verified=True, text=text) for text in self.texts]


class Scene:
    """The service, and the day as it was played."""

    def __init__(self) -> None:
        self.service, self.told = Service(), Told()
        cars = (LYND, OSK, TARROW, HOB, MOOR, DRAY, SELA)
        digest = hashlib.sha256(PLAIN).hexdigest()
        self.day = SimpleNamespace(
            jobs={car.registration: {"id": car.registration} for car in cars},
            uploads=[Upload(LYND.registration, name, UPLOADED) for name in ("one", "two")],
            fetched={LINK.format("both"): digest},
            postboxes={"webhook": self.told},
        )

    def faults(self) -> list[str]:
        """Return what the reading back finds wrong."""
        found, faults = proof.read_back(cast("Any", self.day), *[cast("Any", self.service)] * 2)
        assert len(found) == len(proof.CHECKS)
        assert any("WRONG" in text for _, text in found) is bool(faults)
        return faults


def at(scene: Scene, path: str, *way: str | int) -> Any:
    """Return a part of what the service says."""
    part = scene.service.says[path]
    for step in way:
        part = part[step]
    return part


def test_a_good_day_reads_back_without_a_fault() -> None:
    assert Scene().faults() == []


def spoil(path: str, *way: str | int, **wrong: Any) -> Callable[[Scene], None]:
    return lambda scene: at(scene, path, *way).update(wrong)


def a_picture_with_a_place(scene: Scene) -> None:
    scene.service.files[LINK.format("two")] = drawn.tyre(worn=True)


def a_picture_that_is_too_long(scene: Scene) -> None:
    scene.service.files[LINK.format("two")] = pixels(1281)


def another_picture_behind_the_link(scene: Scene) -> None:
    scene.day.fetched[LINK.format("both")] = UPLOADED


def a_link_that_opens_for_anybody(scene: Scene) -> None:
    scene.service.other_gets = 200


def nothing_fetched(scene: Scene) -> None:
    scene.day.fetched.clear()


def a_notice_that_names_it(scene: Scene) -> None:
    scene.told.texts.append(f"Found: {LEFT_BEHIND}.")


@pytest.mark.parametrize(
    ("spoiled", "words"),
    [
        (a_picture_with_a_place, "two/1280 holds metadata"),
        (a_picture_that_is_too_long, "longer than 1280"),
        (another_picture_behind_the_link, "not what the API serves"),
        (nothing_fetched, "not what the API serves"),
        (a_link_that_opens_for_anybody, "Another dealer's key opens"),
        (spoil("TU21 ABC/photos", "photos", 0, sha256="0"), "not those that were uploaded"),
        (spoil("TU21 ABC/photos", "photos", 2, after_id="x"), "not one pair"),
        (spoil("UT70 FEN/paint", "panels", 3, film_class="built_up"), "The survey finds"),
        (spoil("UT70 FEN/paint", film="not_asked"), "The survey forgot"),
        (spoil("UT70 FEN/findings", "findings", 0, from_paint_survey=False), "provenance"),
        (spoil("JT66 OAK/findings", "findings", 0, holds_the_job=True), "did not end the hold"),
        (spoil("JT66 OAK/findings", "findings", 0, caution=""), "no caution"),
        (spoil("JT66 OAK/history", "entries", 2, kind="moved"), "After the finding came"),
        (spoil("UK14 MOW/requests", "requests", 0, closed_way="api"), "not the link"),
        (spoil("UK14 MOW/requests", "requests", 0, state="open"), "not approved"),
        (spoil("UK14 MOW", "tasks", 0, planned_minutes=31), "did not become one task"),
        (
            lambda scene: at(scene, "UK14 MOW/history", "entries").append(
                {"kind": "request_closed"}
            ),
            "closed 2 times",
        ),
        (
            spoil("UK14 MOW/coats", "tasks", 0, "coats", 1, early=True),
            "Coat 2 went on too early",
        ),
        (spoil("JX19 KLM/history", "entries", 1, kind="touch_tested"), "before anybody felt"),
        (
            spoil("TU21 ABC/history", "entries", 0, "data", until="2027-03-01T17:00:00Z"),
            "did not make the dressing later",
        ),
        (spoil("TU21 ABC/history", "entries", 1, reason=""), "The override has no reason"),
        (spoil("TJ17 HND/supplied", "items", 0, state="awaited"), "not ticked off"),
        (spoil("UB68 TRW", collected_at="2027-03-01T14:01:00Z"), "before its belongings"),
        (
            spoil("UB68 TRW/findings", "findings", 0, "belonging", returned_at=None),
            "cannot be read back",
        ),
        (
            lambda scene: at(scene, "UB68 TRW/walk-rounds", "differences").pop(),
            "walk-rounds differ",
        ),
        (a_notice_that_names_it, "names what lay in the car"),
    ],
)
def test_what_is_not_as_it_was_taken_down_is_named(
    spoiled: Callable[[Scene], None], words: str
) -> None:
    scene = Scene()
    spoiled(scene)
    faults = scene.faults()
    assert len(faults) >= 1
    assert any(words in fault for fault in faults), faults
