"""The events of a job: their schemas, their examples, and how `data` is built."""

from jobs.work.events.coats import SUPPLIED_TICKED
from jobs.work.events.curing import JOB_WAIT_CHANGED, wait_headline
from jobs.work.events.findings import (
    BELONGING_RETURNED,
    BELONGING_WIPED,
    FINDING_ACKNOWLEDGED,
    FINDING_CLEARED,
    FINDING_REPORTED,
    FINDING_WITHDRAWN,
    finding_data,
    finding_over_data,
)
from jobs.work.events.holds import JOB_HELD, JOB_RELEASED
from jobs.work.events.jobs import job_data
from jobs.work.events.orders import (
    WORK_ORDER_ACCEPTED,
    WORK_ORDER_CANCELLED,
    WORK_ORDER_CHANGED,
    WORK_ORDER_DECLINED,
    WORK_ORDER_RECEIVED,
)
from jobs.work.events.requests import (
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
from jobs.work.events.stages import (
    JOB_ARRIVED,
    JOB_COLLECTED,
    JOB_CORRECTED,
    JOB_READY,
    JOB_STAGE_CHANGED,
    corrected_headline,
)
from jobs.work.events.walk_rounds import WALK_ROUND_RECORDED, walk_round_data

__all__ = [
    "BELONGING_RETURNED",
    "BELONGING_WIPED",
    "FINDING_ACKNOWLEDGED",
    "FINDING_CLEARED",
    "FINDING_REPORTED",
    "FINDING_WITHDRAWN",
    "JOB_ARRIVED",
    "JOB_COLLECTED",
    "JOB_CORRECTED",
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
    "corrected_headline",
    "finding_data",
    "finding_over_data",
    "job_data",
    "proposal_data",
    "tasks_data",
    "wait_headline",
    "walk_round_data",
    "what_of",
]
