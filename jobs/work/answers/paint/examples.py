"""Examples of paint for the OpenAPI document, worked out by the sums themselves."""

from typing import Any
from uuid import UUID

from accounts.caller import Caller, Side
from core.api.examples import plain
from jobs.work.answers.paint import shown
from jobs.work.drawings.car_plan import Mark, car_plan
from jobs.work.models import FilmCheck, Job, PaintTest, PassesDone, SpotReading
from jobs.work.selectors.paint import PaintRecord

_STAMP: dict[str, Any] = {
    "occurred_at": "2027-03-01T10:15:00Z",
    "recorded_at": "2027-03-01T10:15:01Z",
    "actor": "Tam Brackley",
}
_VALETER = Caller(UUID(int=0), Side.WORKSHOP, frozenset(), "Tam Brackley")
SPOTS: dict[str, Any] = {
    "spots": [
        {"panel": "bonnet", "material": "steel", "readings": [117, 119, 118]},
        {"panel": "front_bumper", "material": "plastic"},
    ],
    "occurred_at": "2027-03-01T10:15:00Z",
}
TEST_SENT: dict[str, Any] = {
    "panel": "bonnet",
    "pad_colour": "paint",
    "rubbed_with": "white_pad",
    "white_paint": False,
    "look": "faded",
    "darkens_when_wet": True,
}
FILM_SENT: dict[str, Any] = {"film": "no", "note": "No edge in the shuts."}


def _id(number: int) -> UUID:
    return UUID(f"01951a2b-3c4d-7e5f-8a6b-{0x7C8D9E0F2000 + number:012x}")


def _reading(number: int, panel: str, *readings: float) -> SpotReading:
    return SpotReading(
        id=_id(number),
        panel=panel,
        material="steel",
        readings=list(readings),
        microns=sum(readings) / len(readings),
        **_STAMP,
    )


_TEST = PaintTest(id=_id(20), **TEST_SENT, faded=True, **_STAMP)
_FILM = FilmCheck(id=_id(22), panel="whole_vehicle", **FILM_SENT, **_STAMP)
_PASSES = PassesDone(id=_id(21), panel="bonnet", kind="cut", passes=1, **_STAMP)
_RECORD = PaintRecord(
    job=Job(registration="TU21 ABC", body_size="medium"),
    readings=(
        _reading(1, "bonnet", 117, 119, 118),
        _reading(2, "roof", 112, 110, 114),
        _reading(3, "tailgate", 116, 116, 119),
        _reading(4, "left_front_door", 241, 238, 241),
        _reading(5, "right_front_door", 113, 115, 114),
    ),
    tests=(_TEST,),
    passes=(_PASSES,),
    film_checks=(_FILM,),
)
PAINT: dict[str, Any] = plain(shown.paint(_RECORD, _VALETER))
READING: dict[str, Any] = PAINT["readings"][0]
SET_ASIDE: dict[str, Any] = {
    "set_aside_at": "2027-03-01T10:20:00Z",
    "set_aside_reason": "The gauge stood on a stone chip.",
}
TEST_MADE: dict[str, Any] = {"test": PAINT["tests"][0], **shown.verdict(_RECORD, "bonnet")}
FILM_MADE: dict[str, Any] = {
    "check": PAINT["film_checks"][0],
    "film": PAINT["film"],
    "film_words": PAINT["film_words"],
}
PASSES_MADE: dict[str, Any] = {
    "done": PAINT["passes"][0],
    "allowance": PAINT["panels"][0]["allowance"],
    "cautions": [PAINT["cautions"][-1]],
}
PICTURE = car_plan(
    [Mark(panel.panel, panel.microns, panel.film_class) for panel in _RECORD.survey.panels],
    title="TU21 ABC",
    notes=_RECORD.survey.notes,
)
