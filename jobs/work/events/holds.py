"""The events of a hold."""

from jobs.work.events.jobs import CAUSE, ID, TEXT, kind
from notifications.catalogue import register

JOB_HELD = kind(
    "job.held",
    "The job waits for something.",
    {"hold_id": ID, "cause": CAUSE, "reason": TEXT},
    {
        "hold_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c",
        "cause": "parts",
        "reason": "Wheel trim to come.",
    },
)


JOB_RELEASED = kind(
    "job.released",
    "A wait ended.",
    {"hold_id": ID, "cause": CAUSE, "reason": TEXT},
    {"hold_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c", "cause": "parts", "reason": ""},
)
register(JOB_HELD, JOB_RELEASED)
