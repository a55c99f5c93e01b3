"""Examples of the notices API for the OpenAPI document: one invented dealer's system."""

from typing import Any

ENDPOINT_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b"
RECIPIENT_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c"
EVENT_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2d"
DELIVERY_ID = "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2e"
URL = "https://stock.brackmoor.example/notices"

WEBHOOK_INPUT: dict[str, Any] = {
    "url": URL,
    "description": "Stock system",
    "event_types": ["endpoint.tested"],
}
_STATE: dict[str, Any] = {
    "state": "on",
    "state_reason": "",
    "failing_since": None,
    "slowed_until": None,
    "created_at": "2027-03-01T08:00:00Z",
}
WEBHOOK: dict[str, Any] = {
    "id": ENDPOINT_ID,
    **WEBHOOK_INPUT,
    **_STATE,
    "old_secret_until": None,
}
# The secret of the test vector in Standard Webhooks 1.0.0, which protects nothing.
FRESH_WEBHOOK: dict[str, Any] = {**WEBHOOK, "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}
ROTATED_WEBHOOK: dict[str, Any] = {**FRESH_WEBHOOK, "old_secret_until": "2027-03-02T09:30:00Z"}
SWITCHED_OFF: dict[str, Any] = {
    **WEBHOOK,
    "state": "off",
    "state_reason": "Switched off by Stock system (Brackmoor Cars).",
}
RECIPIENT_INPUT: dict[str, Any] = {
    "email": "desk@brackmoor.example",
    "description": "Front desk",
    "event_types": ["endpoint.tested"],
}
RECIPIENT: dict[str, Any] = {"id": RECIPIENT_ID, **RECIPIENT_INPUT, **_STATE}
DELIVERY: dict[str, Any] = {
    "id": DELIVERY_ID,
    "event_id": EVENT_ID,
    "event_type": "endpoint.tested",
    "occurred_at": "2027-03-01T09:30:00Z",
    "subject_id": ENDPOINT_ID,
    "state": "waiting",
    "tries": 1,
    "next_attempt_at": "2027-03-01T09:30:06Z",
    "finished_at": None,
    "last_status": 503,
    "last_error": "",
    "created_at": "2027-03-01T09:30:00Z",
    "attempts": [
        {
            "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2f",
            "started_at": "2027-03-01T09:30:00Z",
            "milliseconds": 41,
            "status": 503,
            "answer": "Back in a moment",
            "error": "",
        }
    ],
}
REPLAYED_DELIVERY: dict[str, Any] = {
    **DELIVERY,
    "tries": 0,
    "next_attempt_at": "2027-03-01T11:00:00Z",
}
TESTED: dict[str, Any] = {"event_id": EVENT_ID}
RANGE: dict[str, Any] = {
    "from": "2027-03-01T09:00:00Z",
    "to": "2027-03-01T12:00:00Z",
    "only_failed": True,
}
REPLAYED: dict[str, Any] = {"replayed": 42, "cursor": 1310, "more": False}
FEED: dict[str, Any] = {
    "events": [
        {
            "position": 1271,
            "id": EVENT_ID,
            "type": "endpoint.tested",
            "timestamp": "2027-03-01T09:30:00Z",
            "data": {"endpoint_id": ENDPOINT_ID},
        }
    ],
    "cursor": 1271,
    "more": False,
}
