"""The events of a request for extra work, and of a dealer's change that the workshop has seen.

No amount rides in them: what the work costs is in the API, for those who may see prices, and in
the dealer's e-mails.
"""

from collections.abc import Sequence
from typing import Any

from jobs.work.events.jobs import ID, TEXT, TIME, JsonSchema, kind, shape
from jobs.work.events.photographs import PICTURE, PICTURE_EXAMPLE
from jobs.work.models import Task, WorkRequest
from notifications.catalogue import register

_TEXTS: JsonSchema = {"type": "array", "items": TEXT}
_WHAT: dict[str, JsonSchema] = {"request_id": ID, "what": TEXT}
_WHAT_EXAMPLE: dict[str, Any] = {
    "request_id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a61",
    "what": "Machine-polish the bonnet",
}
_PROPOSAL: dict[str, JsonSchema] = {
    **_WHAT,
    "why": TEXT,
    "if_not_done": TEXT,
    "operations": _TEXTS,
    "minutes": {"type": "integer"},
    "priced": {"type": "boolean", "description": "A price was named; the API shows it."},
    "answer_by": TIME,
    "holds_the_car": {"type": "boolean"},
    "pictures": {"type": "array", "items": PICTURE},
}
_PROPOSAL_EXAMPLE: dict[str, Any] = {
    **_WHAT_EXAMPLE,
    "why": "The bonnet is dull where the bird lime was.",
    "if_not_done": "The marks stay and will be seen in the sun.",
    "operations": ["polish_spot"],
    "minutes": 45,
    "priced": True,
    "answer_by": "2027-03-02T12:00:00Z",
    "holds_the_car": True,
    "pictures": [PICTURE_EXAMPLE],
}
_TASK = shape(id=ID, operation=TEXT, planned_minutes={"type": "integer"})

REQUEST_OPENED = kind(
    "request.opened",
    "The workshop proposes extra work and wants an answer.",
    _PROPOSAL,
    _PROPOSAL_EXAMPLE,
)
REQUEST_ASKED = kind(
    "request.asked",
    "The dealer asks something before answering a request.",
    {**_WHAT, "question": TEXT, "by": TEXT},
    {**_WHAT_EXAMPLE, "question": "Would a hand polish do?", "by": "Ines Okafor-Lind"},
)
REQUEST_REPLIED = kind(
    "request.replied",
    "The workshop replied to the dealer's question and wants an answer to its request.",
    {**_PROPOSAL, "question": TEXT, "reply": TEXT},
    {
        **_PROPOSAL_EXAMPLE,
        "question": "Would a hand polish do?",
        "reply": "It would hide the marks for a week or two only.",
    },
)
REQUEST_ANSWERED = kind(
    "request.answered",
    "The dealer approved or declined a request.",
    {
        **_WHAT,
        "outcome": {"enum": ["approved", "declined"]},
        "way": {"enum": list(WorkRequest.Way.values)},
        "by": TEXT,
        "note": TEXT,
        "tasks": {"type": "array", "items": _TASK},
    },
    {
        **_WHAT_EXAMPLE,
        "outcome": "approved",
        "way": "link",
        "by": "Ines Okafor-Lind (by the e-mail link)",
        "note": "",
        "tasks": [
            {
                "id": "01951a2b-3c4d-7e5f-8a6b-7c8d9e0f1a62",
                "operation": "polish_spot",
                "planned_minutes": 45,
            }
        ],
    },
)
REQUEST_LAPSED = kind(
    "request.lapsed",
    "No answer to a request came in time.",
    {**_WHAT, "reason": TEXT},
    {**_WHAT_EXAMPLE, "reason": "No answer came by the time it was wanted."},
)
REQUEST_WITHDRAWN = kind(
    "request.withdrawn",
    "The workshop withdrew a request.",
    {**_WHAT, "reason": TEXT},
    {**_WHAT_EXAMPLE, "reason": "The marks came off with the wash."},
)
WORK_ORDER_CHANGE_SEEN = kind(
    "work_order.change_seen",
    "The workshop has seen a change of the work order.",
    {"number": {"type": "integer", "description": "Of the change in the history."}, "by": TEXT},
    {"number": 6, "by": "Tam Brackley"},
)
register(
    REQUEST_OPENED,
    REQUEST_ASKED,
    REQUEST_REPLIED,
    REQUEST_ANSWERED,
    REQUEST_LAPSED,
    REQUEST_WITHDRAWN,
    WORK_ORDER_CHANGE_SEEN,
)


def what_of(request: WorkRequest) -> dict[str, Any]:
    """Return the members that tell which request an event is about."""
    return {"request_id": request.pk, "what": request.what}


def proposal_data(request: WorkRequest, pictures: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return what a request proposes, without its price."""
    return {
        **what_of(request),
        "why": request.why,
        "if_not_done": request.if_not_done,
        "operations": request.operations,
        "minutes": request.minutes,
        "priced": request.price is not None,
        "answer_by": request.answer_by,
        "holds_the_car": request.hold_id is not None,
        "pictures": list(pictures),
    }


def tasks_data(tasks: Sequence[Task]) -> list[dict[str, Any]]:
    """Return the tasks that an approval added."""
    return [
        {"id": task.pk, "operation": task.operation, "planned_minutes": task.planned_minutes}
        for task in tasks
    ]
