"""What is doubtful about a work order: said as remarks on the job, never a reason to refuse it."""

from datetime import datetime

from core.problems import FieldError
from jobs.calc.marks import read_mark, remark_first_registered
from jobs.calc.vins import read_vin
from jobs.models import Job


def order_remarks(job: Job, *, at: datetime, mark_region: str) -> list[FieldError]:
    """Return the remarks on an order as it stands, each with the field it is about."""
    remarks: list[FieldError] = []
    if job.registration:
        mark = read_mark(job.registration, region=mark_region)
        remarks += [{"field": "registration", "message": text} for text in mark.remarks]
        if job.first_registered and (doubt := remark_first_registered(mark, job.first_registered)):
            remarks.append({"field": "first_registered", "message": doubt})
    if job.vin:
        vin = read_vin(job.vin)
        remarks += [{"field": "vin", "message": text} for text in vin.remarks]
    if job.due_at and job.due_at < at:
        remarks.append({"field": "due_at", "message": "This time is past."})
    if job.first_registered and job.first_registered > at.date():
        remarks.append({"field": "first_registered", "message": "This date is still to come."})
    if not job.operations:
        remarks.append({"field": "operations", "message": "No operation was asked for."})
    return remarks
