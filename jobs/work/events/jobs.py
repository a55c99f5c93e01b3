"""What the events of a job share: pieces of schema, the `job` member, how a kind is declared.

Amounts of money never go into an event, since valeters may read the feed.
"""

from collections.abc import Mapping
from typing import Any

from jobs.work.models import Job
from notifications.catalogue import EventType

JsonSchema = dict[str, Any]

TEXT: JsonSchema = {"type": "string"}
ID: JsonSchema = {"type": "string", "format": "uuid"}
TIME: JsonSchema = {"type": "string", "format": "date-time"}
STAGE: JsonSchema = {"enum": ["intake", "cleaning", "correction", "curing", "ready"]}
CAUSE: JsonSchema = {"enum": ["decision", "parts", "weather", "drying"]}


def maybe(schema: JsonSchema) -> JsonSchema:
    """Return the schema of a value that may be null."""
    return {"anyOf": [schema, {"type": "null"}]}


def shape(**properties: JsonSchema) -> JsonSchema:
    """Return the schema of an object that has exactly these members."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


JOB_SCHEMA = shape(
    id=ID,
    dealer_id=ID,
    workshop_id=ID,
    dealer_ref=TEXT,
    registration=TEXT,
    vin=TEXT,
    make=TEXT,
    model=TEXT,
    colour=TEXT,
    purpose={"enum": ["retail", "auction", "trade"]},
    stage=STAGE,
    decision={"enum": ["awaited", "accepted", "declined"]},
    on_hold={"type": "boolean"},
    do_not_drive={
        "type": "boolean",
        "description": "It must not be driven: nobody has repaired it, or withdrawn the finding.",
    },
    rework_count={"type": "integer"},
    version={"type": "integer"},
    due_at=maybe(TIME),
    arrived_at=maybe(TIME),
    ready_at=maybe(TIME),
    collected_at=maybe(TIME),
    cancelled_at=maybe(TIME),
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
    "do_not_drive": False,
    "rework_count": 0,
    "version": 4,
    "due_at": "2027-03-03T16:00:00Z",
    "arrived_at": "2027-03-01T08:05:00Z",
    "ready_at": None,
    "collected_at": None,
    "cancelled_at": None,
}
READY_EXAMPLE = {**JOB_EXAMPLE, "stage": "ready", "version": 7, "ready_at": "2027-03-01T15:10:00Z"}


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
        "do_not_drive": job.do_not_drive,
        "rework_count": job.rework_count,
        "version": job.version,
        "due_at": job.due_at,
        "arrived_at": job.arrived_at,
        "ready_at": job.ready_at,
        "collected_at": job.collected_at,
        "cancelled_at": job.cancelled_at,
    }


def kind(name: str, summary: str, more: JsonSchema, example: Mapping[str, Any]) -> EventType:
    """Return an event type whose `data` is `job` and `more`."""
    return EventType(
        name=name,
        summary=summary,
        data_schema=shape(job=JOB_SCHEMA, **more),
        example_data={"job": JOB_EXAMPLE, **example},
    )
