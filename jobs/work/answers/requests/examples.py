"""Examples of requests for the OpenAPI document."""

from typing import Any

from jobs.work.answers.jobs.examples import JOB
from jobs.work.events.photographs import PICTURE_EXAMPLE

PROPOSED: dict[str, Any] = {
    "what": "Machine-polish the bonnet",
    "why": "The bonnet is dull where the bird lime was.",
    "if_not_done": "The marks stay and will be seen in the sun.",
    "operations": ["polish_spot"],
    "minutes": 45,
    "price": "38.00",
    "answer_by": "2027-03-02T12:00:00Z",
    "hold": True,
    "photo_ids": [PICTURE_EXAMPLE["id"]],
}
OPEN: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a61",
    "job_id": JOB["id"],
    "state": "open",
    **{name: PROPOSED[name] for name in ("what", "why", "if_not_done", "operations", "minutes")},
    "priced": True,
    "price": "38.00",
    "currency": "GBP",
    "answer_by": PROPOSED["answer_by"],
    "hold_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a63",
    "round": 1,
    "opened_at": "2027-03-01T10:00:00Z",
    "recorded_at": "2027-03-01T10:00:01Z",
    "actor": "Milo Treen",
    "closed_at": None,
    "closed_by": "",
    "closed_way": "",
    "closed_note": "",
    "messages": [],
    "pictures": [PICTURE_EXAMPLE],
}
APPROVED: dict[str, Any] = {
    **OPEN,
    "state": "approved",
    "closed_at": "2027-03-01T10:20:00Z",
    "closed_by": "Ines Okafor-Lind",
    "closed_way": "api",
    "closed_note": "Please before Friday.",
}
QUESTION = {
    "side": "dealer",
    "text": "Would a hand polish do?",
    "occurred_at": "2027-03-01T10:10:00Z",
    "actor": "Ines Okafor-Lind",
}
REPLY = {
    "side": "workshop",
    "text": "It would hide the marks for a week or two only.",
    "occurred_at": "2027-03-01T10:15:00Z",
    "actor": "Milo Treen",
}
REPLIED: dict[str, Any] = {**OPEN, "round": 3, "messages": [QUESTION, REPLY]}
WITHDRAWN: dict[str, Any] = {
    **OPEN,
    "state": "withdrawn",
    "closed_at": "2027-03-01T10:30:00Z",
    "closed_by": "Milo Treen",
    "closed_note": "The marks came off with the wash.",
}
CHANGE: dict[str, Any] = {
    "number": 6,
    "fields_changed": ["operations", "due_at"],
    "changed_at": "2027-03-01T11:00:00Z",
    "changed_by": "Ines Okafor-Lind",
    "seen_at": "2027-03-01T11:04:00Z",
    "seen_by": "Tam Brackley",
}
