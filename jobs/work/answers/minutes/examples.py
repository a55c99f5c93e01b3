"""Examples for the OpenAPI document: how long work takes in an invented workshop."""

from typing import Any

from core.api.examples import plain
from jobs.work.answers.jobs.examples import JOB, TASK
from jobs.work.answers.minutes.outputs import level_shown
from jobs.work.calc.catalogue.operations import OPERATIONS
from jobs.work.calc.minutes.soiling import LEVELS

_WASH: dict[str, Any] = {"p50_minutes": 41, "p80_minutes": 55, "observations": 23.4}
DURATIONS: dict[str, Any] = {
    "learnt_from": 412,
    "waiting": 1,
    "operations": [
        {
            "operation": "wash_body",
            "name": OPERATIONS["wash_body"].name,
            "stage": "cleaning",
            "standard_minutes": OPERATIONS["wash_body"].standard_minutes,
            **_WASH,
            "finished": 38,
            "waiting": 1,
            "unmeasured": 0,
        }
    ],
    "asked": [
        {
            "job_id": JOB["id"],
            "task_id": TASK["id"],
            "registration": JOB["registration"],
            "operation": "wash_body",
            "name": TASK["name"],
            "minutes": 873,
            "p50_minutes": 41,
            "finished_at": "2027-03-02T07:35:00Z",
        }
    ],
}
ESTIMATE: dict[str, Any] = {
    "job_id": JOB["id"],
    "soiling": 3,
    "learnt_from": 412,
    "p50_minutes": 29,
    "p80_minutes": 43,
    "observations": 23.4,
    "tasks": [
        {
            "task_id": TASK["id"],
            "operation": "wash_body",
            "name": TASK["name"],
            "state": "started",
            "planned_minutes": 35,
            "worked_minutes": 12,
            "p50_minutes": 29,
            "p80_minutes": 43,
            "observations": 23.4,
        }
    ],
}
FORGOTTEN: dict[str, Any] = {
    **TASK,
    "actual_minutes": 873,
    "finished_at": "2027-03-02T07:35:00Z",
    "doubt": "forgotten",
    "told_minutes": 45,
}
LEVEL: dict[str, Any] = plain(level_shown(LEVELS[3]))
SOILING: dict[str, Any] = {
    "job_id": JOB["id"],
    **{name: LEVEL[name] for name in ("level", "name", "words", "caution")},
}
