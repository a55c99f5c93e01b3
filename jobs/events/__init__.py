"""The events of a job: their schemas, their examples, and how `data` is built."""

from jobs.events.base import job_data
from jobs.events.clocks import JOB_WAIT_CHANGED, wait_headline
from jobs.events.findings import (
    BELONGING_RETURNED,
    BELONGING_WIPED,
    FINDING_ACKNOWLEDGED,
    FINDING_REPORTED,
    WALK_ROUND_RECORDED,
    finding_data,
    walk_round_data,
)
from jobs.events.refinishing import SUPPLIED_TICKED
from jobs.events.requests import (
    REQUEST_ANSWERED,
    REQUEST_ASKED,
    REQUEST_LAPSED,
    REQUEST_OPENED,
    REQUEST_REPLIED,
    REQUEST_WITHDRAWN,
    WORK_ORDER_CHANGE_SEEN,
    proposal_data,
    tasks_data,
    what_of,
)
from jobs.events.work import (
    JOB_ARRIVED,
    JOB_COLLECTED,
    JOB_HELD,
    JOB_READY,
    JOB_RELEASED,
    JOB_STAGE_CHANGED,
    WORK_ORDER_ACCEPTED,
    WORK_ORDER_CANCELLED,
    WORK_ORDER_CHANGED,
    WORK_ORDER_DECLINED,
    WORK_ORDER_RECEIVED,
)

__all__ = [
    "BELONGING_RETURNED",
    "BELONGING_WIPED",
    "FINDING_ACKNOWLEDGED",
    "FINDING_REPORTED",
    "JOB_ARRIVED",
    "JOB_COLLECTED",
    "JOB_HELD",
    "JOB_READY",
    "JOB_RELEASED",
    "JOB_STAGE_CHANGED",
    "JOB_WAIT_CHANGED",
    "REQUEST_ANSWERED",
    "REQUEST_ASKED",
    "REQUEST_LAPSED",
    "REQUEST_OPENED",
    "REQUEST_REPLIED",
    "REQUEST_WITHDRAWN",
    "SUPPLIED_TICKED",
    "WALK_ROUND_RECORDED",
    "WORK_ORDER_ACCEPTED",
    "WORK_ORDER_CANCELLED",
    "WORK_ORDER_CHANGED",
    "WORK_ORDER_CHANGE_SEEN",
    "WORK_ORDER_DECLINED",
    "WORK_ORDER_RECEIVED",
    "finding_data",
    "job_data",
    "proposal_data",
    "tasks_data",
    "wait_headline",
    "walk_round_data",
    "what_of",
]
