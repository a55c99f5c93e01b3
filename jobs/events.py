"""The events of a job: their schemas, their examples, and how `data` is built.

Amounts of money never go into an event, since valeters may read the feed.
"""

from collections.abc import Mapping
from typing import Any

from jobs.models import Job
from notifications.catalogue import EventType, register

JsonSchema = dict[str, Any]

_TEXT: JsonSchema = {"type": "string"}
_ID: JsonSchema = {"type": "string", "format": "uuid"}
_TIME: JsonSchema = {"type": "string", "format": "date-time"}
_STAGE: JsonSchema = {"enum": ["intake", "cleaning", "correction", "curing", "ready"]}
_CAUSE: JsonSchema = {"enum": ["decision", "parts", "weather", "drying"]}


def _maybe(schema: JsonSchema) -> JsonSchema:
    return {"anyOf": [schema, {"type": "null"}]}


def _object(**properties: JsonSchema) -> JsonSchema:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


JOB_SCHEMA = _object(
    id=_ID,
    dealer_id=_ID,
    workshop_id=_ID,
    dealer_ref=_TEXT,
    registration=_TEXT,
    vin=_TEXT,
    make=_TEXT,
    model=_TEXT,
    colour=_TEXT,
    purpose={"enum": ["retail", "auction", "trade"]},
    stage=_STAGE,
    decision={"enum": ["awaited", "accepted", "declined"]},
    on_hold={"type": "boolean"},
    rework_count={"type": "integer"},
    version={"type": "integer"},
    due_at=_maybe(_TIME),
    arrived_at=_maybe(_TIME),
    ready_at=_maybe(_TIME),
    collected_at=_maybe(_TIME),
    cancelled_at=_maybe(_TIME),
)
JOB_EXAMPLE: dict[str, Any] = {
    "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2b",
    "dealer_id": "01951a2b-0000-7000-8000-00000000000d",
    "workshop_id": "01951a2b-0000-7000-8000-0000000000e5",
    "dealer_ref": "PX-1042",
    "registration": "TU21 ABC",
    "vin": "",
    "make": "Corvane",
    "model": "Lynd 1.4",
    "colour": "Slate grey",
    "purpose": "retail",
    "stage": "cleaning",
    "decision": "accepted",
    "on_hold": False,
    "rework_count": 0,
    "version": 4,
    "due_at": "2027-03-03T16:00:00Z",
    "arrived_at": "2027-03-01T08:05:00Z",
    "ready_at": None,
    "collected_at": None,
    "cancelled_at": None,
}
_READY_EXAMPLE = {**JOB_EXAMPLE, "stage": "ready", "version": 7, "ready_at": "2027-03-01T15:10:00Z"}


def job_data(job: Job) -> dict[str, Any]:
    """Return the `job` member that every event of a job carries."""
    return {
        "id": job.id,
        "dealer_id": job.dealer_id,
        "workshop_id": job.workshop_id,
        "dealer_ref": job.dealer_ref,
        "registration": job.registration,
        "vin": job.vin,
        "make": job.make,
        "model": job.model,
        "colour": job.colour,
        "purpose": job.purpose,
        "stage": job.stage,
        "decision": job.decision,
        "on_hold": job.open_holds > 0,
        "rework_count": job.rework_count,
        "version": job.version,
        "due_at": job.due_at,
        "arrived_at": job.arrived_at,
        "ready_at": job.ready_at,
        "collected_at": job.collected_at,
        "cancelled_at": job.cancelled_at,
    }


def _kind(name: str, summary: str, more: JsonSchema, example: Mapping[str, Any]) -> EventType:
    return EventType(
        name=name,
        summary=summary,
        data_schema=_object(job=JOB_SCHEMA, **more),
        example_data={"job": JOB_EXAMPLE, **example},
    )


_REMARKS = {"type": "array", "items": _object(field=_TEXT, message=_TEXT)}
_CHANGES = {"type": "array", "items": _object(field=_TEXT, was={}, now={})}

WORK_ORDER_RECEIVED = _kind(
    "work_order.received",
    "A dealer posted a work order.",
    {"remarks": _REMARKS, "operations": {"type": "array", "items": _TEXT}},
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
WORK_ORDER_ACCEPTED = _kind(
    "work_order.accepted",
    "The workshop took the work order on.",
    {"by_itself": {"type": "boolean", "description": "By the trade account, not by a person."}},
    {"by_itself": True},
)
WORK_ORDER_DECLINED = _kind(
    "work_order.declined",
    "The workshop declined the work order.",
    {"reason": _TEXT},
    {"job": {**JOB_EXAMPLE, "decision": "declined"}, "reason": "No room before Friday."},
)
WORK_ORDER_CHANGED = _kind(
    "work_order.changed",
    "The dealer changed the work order; amounts are named but not shown.",
    {"changes": _CHANGES},
    {"changes": [{"field": "colour", "was": "Slate", "now": "Slate grey"}]},
)
WORK_ORDER_CANCELLED = _kind(
    "work_order.cancelled",
    "The dealer cancelled the work order.",
    {"reason": _TEXT},
    {"reason": "Sold as it stands."},
)
JOB_ARRIVED = _kind("job.arrived", "The car arrived at the workshop.", {}, {})
JOB_STAGE_CHANGED = _kind(
    "job.stage_changed",
    "The car moved from one stage to another.",
    {
        "from_stage": _STAGE,
        "to_stage": _STAGE,
        "rework": {"type": "boolean"},
        "reason": _TEXT,
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
JOB_HELD = _kind(
    "job.held",
    "The job waits for something.",
    {"hold_id": _ID, "cause": _CAUSE, "reason": _TEXT},
    {
        "hold_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c",
        "cause": "parts",
        "reason": "Wheel trim to come.",
    },
)
JOB_RELEASED = _kind(
    "job.released",
    "A wait ended.",
    {"hold_id": _ID, "cause": _CAUSE, "reason": _TEXT},
    {"hold_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a2c", "cause": "parts", "reason": ""},
)
JOB_READY = _kind(
    "job.ready",
    "The completion notice: the car is ready to be collected.",
    {"override": {"type": "boolean"}, "reason": _TEXT},
    {"job": _READY_EXAMPLE, "override": False, "reason": ""},
)
JOB_COLLECTED = _kind(
    "job.collected",
    "The car was collected.",
    {"reason": _TEXT},
    {"job": {**_READY_EXAMPLE, "version": 8, "collected_at": "2027-03-02T09:00:00Z"}, "reason": ""},
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
)
