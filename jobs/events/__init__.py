"""The events of a job: their schemas, their examples, and how `data` is built."""

from jobs.events.base import job_data
from jobs.events.refinishing import SUPPLIED_TICKED
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
    "JOB_ARRIVED",
    "JOB_COLLECTED",
    "JOB_HELD",
    "JOB_READY",
    "JOB_RELEASED",
    "JOB_STAGE_CHANGED",
    "SUPPLIED_TICKED",
    "WORK_ORDER_ACCEPTED",
    "WORK_ORDER_CANCELLED",
    "WORK_ORDER_CHANGED",
    "WORK_ORDER_DECLINED",
    "WORK_ORDER_RECEIVED",
    "job_data",
]
