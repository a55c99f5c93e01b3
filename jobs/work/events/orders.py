"""The events of a work order."""

from jobs.work.events.jobs import JOB_EXAMPLE, TEXT, kind, shape
from notifications.catalogue import register

_REMARKS = {"type": "array", "items": shape(field=TEXT, message=TEXT)}


_CHANGES = {"type": "array", "items": shape(field=TEXT, was={}, now={})}


WORK_ORDER_RECEIVED = kind(
    "work_order.received",
    "A dealer posted a work order.",
    {"remarks": _REMARKS, "operations": {"type": "array", "items": TEXT}},
    {
        "job": {
            **JOB_EXAMPLE,
            "stage": "intake",
            "decision": "awaited",
            "version": 1,
            "arrived_at": None,
        },
        "remarks": [{"field": "due_at", "message": "This time is past."}],
        "operations": ["wash_body", "vacuum"],
    },
)


WORK_ORDER_ACCEPTED = kind(
    "work_order.accepted",
    "The workshop took the work order on.",
    {"by_itself": {"type": "boolean", "description": "By the trade account, not by a person."}},
    {"by_itself": True},
)


WORK_ORDER_DECLINED = kind(
    "work_order.declined",
    "The workshop declined the work order.",
    {"reason": TEXT},
    {"job": {**JOB_EXAMPLE, "decision": "declined"}, "reason": "No room before Friday."},
)


WORK_ORDER_CHANGED = kind(
    "work_order.changed",
    "The dealer changed the work order; amounts are named but not shown.",
    {"changes": _CHANGES},
    {"changes": [{"field": "colour", "was": "Slate", "now": "Slate grey"}]},
)


WORK_ORDER_CANCELLED = kind(
    "work_order.cancelled",
    "The dealer cancelled the work order.",
    {"reason": TEXT},
    {"reason": "Sold as it stands."},
)
register(
    WORK_ORDER_RECEIVED,
    WORK_ORDER_ACCEPTED,
    WORK_ORDER_DECLINED,
    WORK_ORDER_CHANGED,
    WORK_ORDER_CANCELLED,
)
