"""The events of the car's way from stage to stage."""

from jobs.work.calc.stages.machine import Kind, Stage
from jobs.work.events.jobs import READY_EXAMPLE, STAGE, TEXT, kind, shape
from jobs.work.events.photographs import PAIR_EXAMPLE, PICTURE
from notifications.catalogue import register

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
    JOB_ARRIVED,
    JOB_STAGE_CHANGED,
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
