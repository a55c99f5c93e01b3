"""Examples of photographs for the OpenAPI document."""

from jobs.work.events.photographs import PAIR_EXAMPLE, PICTURE_EXAMPLE

SENT = {
    "file": "(the bytes of the picture)",
    "client_id": "6f1d2c3b-4a59-4e6f-8a7b-9c0d1e2f3a4b",
    "moment": "before",
    "view": "left_side",
    "area": "left_rear_door",
    "caption": "Dent below the handle",
    "occurred_at": "2027-03-01T08:12:00Z",
}
PHOTO = {
    **PICTURE_EXAMPLE,
    "client_id": SENT["client_id"],
    "before_id": None,
    "after_id": None,
    "format": "JPEG",
    "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "width": 4000,
    "height": 3000,
    "taken_at": "2027-03-01T08:12:00Z",
    "recorded_at": "2027-03-01T08:12:04Z",
    "actor": "Tam Brackley",
}
PAIR = {
    **PHOTO,
    **PAIR_EXAMPLE,
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2f",
    "client_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a30",
    "before_id": PHOTO["id"],
    "after_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2e",
}
