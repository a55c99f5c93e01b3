"""Examples of findings, phrases and walk-rounds for the OpenAPI document."""

from typing import Any

from jobs.work.calc.findings import INSPECT
from jobs.work.events.jobs import JOB_EXAMPLE
from jobs.work.events.photographs import PICTURE_EXAMPLE

FINDING: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a41",
    "job_id": JOB_EXAMPLE["id"],
    "kind": "mechanical",
    "weight": "before_sale",
    "weight_words": "needs attention before sale",
    "area": "left_front_wheel",
    "area_name": "left front wheel and tyre",
    "noticed": "A regular clicking from a front wheel.",
    "circumstance": "On full lock, moving",
    "advice": "Have it looked at before sale.",
    "caution": INSPECT,
    "from_paint_survey": False,
    "holds_the_job": False,
    "pictures": [PICTURE_EXAMPLE],
    "belonging": None,
    "occurred_at": "2027-03-01T09:40:00Z",
    "recorded_at": "2027-03-01T09:40:02Z",
    "actor": "Tam Brackley",
    "acknowledged_at": None,
    "acknowledged_by": "",
    "acknowledged_side": "",
    "acknowledged_told": "",
    "acknowledged_note": "",
    "must_not_be_driven": False,
    "over_how": "",
    "over_by": "",
    "over_at": None,
    "over_reason": "",
    "over_recorded_by": "",
    "over_side": "",
}
BELONGING: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a42",
    "what": "document",
    "kept_at": "Office, drawer 3",
    "wiped": None,
    "wiped_at": None,
    "returned_at": None,
    "returned_to": "",
    "returned_by": "",
}
BELONGINGS: dict[str, Any] = {
    **FINDING,
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a44",
    "kind": "belongings",
    "weight": "for_information",
    "weight_words": "for information",
    "area": "dashboard",
    "area_name": "dashboard and controls",
    "noticed": "Papers of a former keeper.",
    "circumstance": "Clearing out",
    "advice": "",
    "caution": "",
    "pictures": [],
    "belonging": BELONGING,
}
ACKNOWLEDGED: dict[str, Any] = {
    **FINDING,
    "acknowledged_at": "2027-03-01T09:52:00Z",
    "acknowledged_by": "Ines Okafor-Lind",
    "acknowledged_side": "dealer",
    "acknowledged_note": "We fetch it on a trailer.",
}
STOP: dict[str, Any] = {
    **ACKNOWLEDGED,
    "weight": "do_not_drive",
    "weight_words": "do not drive",
    "area": "brakes",
    "area_name": "brakes",
    "noticed": "The brake pedal sinks under a steady foot.",
    "circumstance": "",
    "advice": "",
}
CLEARED: dict[str, Any] = {
    **STOP,
    "over_how": "repaired",
    "over_by": "Corm Mobile Mechanics",
    "over_at": "2027-03-01T13:30:00Z",
    "over_recorded_by": "Tam Brackley",
    "over_side": "workshop",
}
WITHDRAWN: dict[str, Any] = {
    **CLEARED,
    "over_how": "withdrawn",
    "over_by": "Tam Brackley",
    "over_reason": "Tapped on the wrong car.",
}
REPORT: dict[str, Any] = {
    "kind": "mechanical",
    "weight": "before_sale",
    "area": "left_front_wheel",
    "noticed": "A regular clicking from a front wheel.",
    "circumstance": "On full lock, moving",
    "photo_ids": [PICTURE_EXAMPLE["id"]],
}
REPORT_BELONGING: dict[str, Any] = {
    "phrase": "papers_left",
    "area": "dashboard",
    "belonging": {"what": "document", "kept_at": "Office, drawer 3"},
}
PHRASE: dict[str, Any] = {
    "code": "click_full_lock",
    "group": "noises and feel",
    "kind": "mechanical",
    "weight": "before_sale",
    "noticed": "A regular clicking from a front wheel.",
    "circumstance": "On full lock, moving",
    "advice": "Have it looked at before sale.",
    "hidden": False,
    "wording": "standard",
}
OWN_PHRASE: dict[str, Any] = {
    "code": "sand_everywhere",
    "group": "inside",
    "kind": "interior",
    "weight": "for_information",
    "noticed": "Sand in every corner.",
    "circumstance": "Seats moved",
    "advice": "Some will come out for weeks.",
}
AREA: dict[str, Any] = {
    "code": "left_front_wing",
    "name": "left front wing",
    "group": "body panels",
    "side": "left",
    "twin": "right_front_wing",
    "is_panel": True,
}
WALK_ROUND_SENT: dict[str, Any] = {
    "occasion": "leaving",
    "mileage": 41253,
    "mileage_unit": "miles",
    "fuel_percent": 30,
    "keys_count": 2,
    "warning_lights": ["tyre_pressure"],
    "items": {"locking_wheel_key": "present", "load_cover": "absent"},
    "damage": [
        {
            "area": "left_rear_door",
            "noticed": "A dent below the handle.",
            "photo_ids": [PICTURE_EXAMPLE["id"]],
        }
    ],
    "notes": "",
}
WALK_ROUND: dict[str, Any] = {
    **WALK_ROUND_SENT,
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a43",
    "charge_percent": None,
    "damage": [
        {
            "area": "left_rear_door",
            "area_name": "left rear or sliding door",
            "noticed": "A dent below the handle.",
            "pictures": [PICTURE_EXAMPLE],
        }
    ],
    "occurred_at": "2027-03-01T15:20:00Z",
    "recorded_at": "2027-03-01T15:20:01Z",
    "actor": "Tam Brackley",
}
WALK_ROUNDS: dict[str, Any] = {
    "findings_to_report": [{"light": "brakes", "phrase": "brake_light_stays", "area": "brakes"}],
    "arrival": {**WALK_ROUND, "occasion": "arrival", "mileage": 41250, "damage": []},
    "leaving": WALK_ROUND,
    "earlier": [],
    "differences": [{"about": "mileage", "text": "The mileage grew by 3 miles."}],
    "remarks": [],
}
