"""The events of a work order and of the car's way from stage to stage."""

from jobs.work.calc.stages.machine import Kind, Stage
from jobs.work.events.jobs import CAUSE, ID, JOB_EXAMPLE, READY_EXAMPLE, STAGE, TEXT, kind, shape
from jobs.work.events.photographs import PAIR_EXAMPLE, PICTURE
from notifications.catalogue import register

_REMARKS = {"type": "array", "items": shape(field=TEXT, message=TEXT)}
_PAIRS = {
    "type": "array",
    "items": PICTURE,
    "description": "Before and after, side by side, for each view that has both.",
}
_REMINDERS = {
    "type": "array",
    "items": shape(code=TEXT, text=TEXT),
    "description": "What is still open about the car, most urgent first.",
}
REMINDER_EXAMPLE = {
    "code": "belongings_here",
    "text": "Belongings that are here and not signed back: 1.",
}
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
JOB_ARRIVED = kind("job.arrived", "The car arrived at the workshop.", {}, {})
JOB_STAGE_CHANGED = kind(
    "job.stage_changed",
    "The car moved from one stage to another.",
    {
        "from_stage": STAGE,
        "to_stage": STAGE,
        "rework": {"type": "boolean"},
        "reason": TEXT,
        "override": {"type": "boolean", "description": "A manager let it pass a running clock."},
    },
    {
        "from_stage": "intake",
        "to_stage": "cleaning",
        "rework": False,
        "reason": "",
        "override": False,
    },
)
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
JOB_READY = kind(
    "job.ready",
    "The completion notice: the car is ready to be collected.",
    {
        "override": {"type": "boolean"},
        "reason": TEXT,
        "pictures": _PAIRS,
        "reminders": _REMINDERS,
    },
    {
        "job": READY_EXAMPLE,
        "override": False,
        "reason": "",
        "pictures": [PAIR_EXAMPLE],
        "reminders": [REMINDER_EXAMPLE],
    },
)
JOB_COLLECTED = kind(
    "job.collected",
    "The car was collected.",
    {"reason": TEXT, "reminders": _REMINDERS},
    {
        "job": {**READY_EXAMPLE, "version": 8, "collected_at": "2027-03-02T09:00:00Z"},
        "reason": "The driver has no room for them.",
        "reminders": [REMINDER_EXAMPLE],
    },
)
JOB_CORRECTED = kind(
    "job.corrected",
    "A manager undid a step of the car that was a mistake. It goes to everybody who takes what was "
    "told wrongly.",
    {
        "headline": {**TEXT, "description": "In one line; the subject of the e-mail."},
        "undid": {"enum": ["arrived", "moved", "collected"]},
        "from_stage": STAGE,
        "to_stage": {
            **STAGE,
            "description": "Where the car is; as before, unless a move was undone.",
        },
        "reason": TEXT,
    },
    {
        "headline": "Correction: it is not ready; it is in cleaning.",
        "undid": "moved",
        "from_stage": "ready",
        "to_stage": "cleaning",
        "reason": "The tyres are still to be done.",
    },
)
register(
    WORK_ORDER_RECEIVED,
    WORK_ORDER_ACCEPTED,
    WORK_ORDER_DECLINED,
    WORK_ORDER_CHANGED,
    WORK_ORDER_CANCELLED,
    JOB_ARRIVED,
    JOB_STAGE_CHANGED,
    JOB_HELD,
    JOB_RELEASED,
    JOB_READY,
    JOB_COLLECTED,
    JOB_CORRECTED,
)


def corrected_headline(undid: Kind, origin: Stage, to: Stage | None) -> str:
    """Return in one line what is so, where something else was told."""
    if undid is Kind.ARRIVED:
        return "Correction: it has not arrived."
    if undid is Kind.COLLECTED:
        return "Correction: it was not collected."
    return f"Correction: it is not {_in(origin)}; it is {_in(to or origin)}."


def _in(stage: Stage) -> str:
    return "ready" if stage is Stage.READY else f"in {stage.value}"
