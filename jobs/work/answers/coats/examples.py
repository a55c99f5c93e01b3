"""Examples of refinishing for the OpenAPI document."""

from dataclasses import replace
from typing import Any

from jobs.work.answers.coats.outputs import steps_shown

_ALL = steps_shown()
STEPS = replace(_ALL, parts=_ALL.parts[1:2])
COAT: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a31",
    "task_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a30",
    "number": 2,
    "kind": "colour",
    "flash_off_minutes": 10,
    "applied_at": "2027-03-01T11:20:00Z",
    "flashed_off_at": "2027-03-01T11:30:00Z",
    "flashing_off": True,
    "early": False,
    "reason": "",
    "actor": "Tam Brackley",
}
_FIRST = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a32",
    "number": 1,
    "kind": "primer",
    "applied_at": "2027-03-01T11:05:00Z",
    "flashed_off_at": "2027-03-01T11:15:00Z",
    "flashing_off": False,
}
COATS: dict[str, Any] = {
    "tasks": [
        {
            "task_id": COAT["task_id"],
            "operation": "sills_refinish",
            "name": "Refinish sills",
            "flashing_off": True,
            "next_coat_from": "2027-03-01T11:30:00Z",
            "dry_to_handle_at": "2027-03-01T13:20:00Z",
            "coats": [{**COAT, **_FIRST}, COAT],
        }
    ]
}
SUPPLIED_ITEM: dict[str, Any] = {
    "item": "Wheel trim",
    "on_order": True,
    "state": "fitted",
    "note": "Right rear.",
    "occurred_at": "2027-03-01T13:40:00Z",
    "actor": "Tam Brackley",
}
SUPPLIED: dict[str, Any] = {
    "items": [
        SUPPLIED_ITEM,
        {
            "item": "Touch-in paint",
            "on_order": True,
            "state": "awaited",
            "note": "",
            "occurred_at": None,
            "actor": "",
        },
    ]
}
