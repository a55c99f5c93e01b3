"""Examples for the OpenAPI document: one invented day at one invented workshop."""

from typing import Any

from jobs.work.answers.curing import examples as clocks
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.events.jobs import JOB_EXAMPLE

ORDER: dict[str, Any] = {
    "dealer_ref": "PX-1042",
    "registration": "tu21abc",
    "make": "Corvane",
    "model": "Lynd 1.4",
    "colour": "Slate grey",
    "first_registered": "2021-03-15",
    "mileage": 41250,
    "mileage_unit": "miles",
    "body_size": "medium",
    "fuel": "petrol",
    "purpose": "retail",
    "operations": ["full_valet", "touch_in"],
    "due_at": "2027-03-03T16:00:00Z",
    "cap_minutes": 240,
    "location": "Rear compound, bay 4",
    "keys": "Key safe, hook 12",
    "supplied": ["Wheel trim"],
    "contact_name": "Ines Okafor-Lind",
    "notes": "Dog hair in the boot",
}
JOB: dict[str, Any] = {
    "id": JOB_EXAMPLE["id"],
    "dealer_id": JOB_EXAMPLE["dealer_id"],
    "workshop_id": JOB_EXAMPLE["workshop_id"],
    "stage": "cleaning",
    "decision": "accepted",
    "on_hold": False,
    "do_not_drive": False,
    "is_open": True,
    "rework_count": 0,
    "soiling": 3,
    "version": 4,
    "received_at": "2027-02-27T10:00:00Z",
    "arrived_at": "2027-03-01T08:05:00Z",
    "ready_at": None,
    "collected_at": None,
    "cancelled_at": None,
    "updated_at": "2027-03-01T09:30:00Z",
    "allowed_moves": [
        {"to": "correction", "rework": False},
        {"to": "curing", "rework": False},
        {"to": "ready", "rework": False},
    ],
    "remarks": [],
    **ORDER,
    "registration": "TU21 ABC",
    "vin": "",
    "cap_amount": None,
    "cap_currency": "",
    "contact_phone": "",
    "contact_email": "",
}
TASK: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2d",
    "operation": "wash_body",
    "name": OPERATIONS["wash_body"].name,
    "stage": "cleaning",
    "state": "finished",
    "planned_minutes": 35,
    "actual_minutes": 32,
    "doubt": "",
    "told_minutes": None,
    "started_at": "2027-03-01T08:30:00Z",
    "finished_at": "2027-03-01T09:02:00Z",
    "note": "",
}
HOLD: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c",
    "cause": "parts",
    "reason": "Wheel trim to come.",
    "started_at": "2027-03-01T09:10:00Z",
    "ended_at": None,
}
REMINDER: dict[str, Any] = {
    "code": "findings_not_acknowledged",
    "text": "Findings the dealer has not acknowledged: 1.",
}
JOB_DETAIL: dict[str, Any] = {
    **JOB,
    "tasks": [TASK],
    "holds": [HOLD],
    "clocks": [clocks.CLOCK],
    "reminders": [REMINDER],
    "changes_to_see": [],
}
HISTORY: dict[str, Any] = {
    "entries": [
        {
            "number": 4,
            "kind": "moved",
            "version": 4,
            "made_against": 3,
            "from_stage": "intake",
            "to_stage": "cleaning",
            "reason": "",
            "occurred_at": "2027-03-01T08:20:00Z",
            "recorded_at": "2027-03-01T08:20:01Z",
            "actor": "Tam Brackley",
            "data": {"override": False, "rework": False},
        }
    ]
}
BATCH: dict[str, Any] = {
    "received": 1,
    "refused": 1,
    "lines": [
        {"line": 1, "status": 201, "job_id": JOB["id"], "remarks": [], "problem": None},
        {
            "line": 2,
            "status": 400,
            "job_id": None,
            "remarks": [],
            "problem": {
                "type": "urn:shutline:problem:invalid-request",
                "title": "The request is not right",
                "status": 400,
                "detail": "registration: Give the registration or the vin; one is needed.",
                "next_step": "Correct the fields named in errors and send the request again.",
                "errors": [
                    {
                        "field": "registration",
                        "message": "Give the registration or the vin; one is needed.",
                    }
                ],
            },
        },
    ],
}
READY_CAR: dict[str, Any] = {
    "id": JOB["id"],
    "workshop_id": JOB["workshop_id"],
    "dealer_ref": "PX-1042",
    "registration": "TU21 ABC",
    "vin": "",
    "make": "Corvane",
    "model": "Lynd 1.4",
    "colour": "Slate grey",
    "purpose": "retail",
    "due_at": "2027-03-03T16:00:00Z",
    "arrived_at": "2027-03-01T08:05:00Z",
    "ready_at": "2027-03-01T15:10:00Z",
    "rework_count": 0,
    "version": 7,
    "ready_number": 12,
    "on_hold": False,
    "do_not_drive": False,
}
READY: dict[str, Any] = {"cars": [READY_CAR], "cursor": 12, "more": False}
