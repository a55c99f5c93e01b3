"""Examples for the OpenAPI document: what cures and dries on an invented car."""

from typing import Any

from jobs.work.models import WaitClock

CLOCK: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2e",
    "kind": "drying",
    "operation": "wet_extraction",
    "product": "",
    "started_at": "2027-03-01T10:00:00Z",
    "earliest_at": "2027-03-01T13:10:00Z",
    "ends_at": "2027-03-01T14:00:00Z",
    "basis": "gaps",
    "halted": "",
    "progress_percent": 40,
    "touch_test": True,
    "closed_at": None,
}
FELT: dict[str, Any] = {
    **CLOCK,
    "progress_percent": 90,
    "closed_at": "2027-03-01T13:30:00Z",
}
CURING: dict[str, Any] = {
    **CLOCK,
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a71",
    "kind": "cure",
    "operation": "trim_dressing",
    "product": "Gloss for trim, long-lived",
    "started_at": "2027-03-01T10:20:00Z",
    "earliest_at": "2027-03-01T13:35:00Z",
    "ends_at": "2027-03-01T13:35:00Z",
    "basis": "measured",
    "progress_percent": 62,
    "touch_test": False,
}
WAITS: dict[str, Any] = {
    "clocks": [
        {
            **CURING,
            "name": "Dress exterior trim",
            "running": True,
            "touch_test_due": False,
            "basis_words": str(WaitClock.Basis.MEASURED.label),
            "halted_words": "",
        },
    ],
    "done_at": {"earliest": "2027-03-01T13:35:00Z", "latest": "2027-03-01T13:35:00Z"},
    "outside": {
        "at": "2027-03-01T13:35:00Z",
        "code": "rain",
        "reason": "The chance of rain is more than 20 % before “Dress exterior trim” would have "
        "cured outside. “Dress exterior trim” will have cured inside by then.",
        "keep_dry_until": "2027-03-01T13:35:00Z",
        "cured_outside_at": None,
        "rain_percent": None,
        "words": "Keep it from rain and frost until 13:35. The chance of rain is more than 20 % "
        "before “Dress exterior trim” would have cured outside. “Dress exterior trim” will have "
        "cured inside by then.",
    },
    "cautions": [],
    "reading": {
        "at": "2027-03-01T12:10:00Z",
        "age_minutes": 8,
        "celsius": 14.5,
        "humidity_percent": 62.0,
        "surface_celsius": None,
        "stuck": False,
    },
    "forecast": {"issued_at": "2027-03-01T11:00:00Z", "age_minutes": 78, "old": False},
}
USE: dict[str, Any] = {
    "product_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a72",
    "task_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2d",
    "occurred_at": "2027-03-01T10:20:00Z",
}
USED: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a73",
    **USE,
    "product": CURING["product"],
    "note": "",
    "clock": CURING,
}
