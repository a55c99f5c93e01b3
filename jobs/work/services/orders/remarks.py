"""What is doubtful about a work order: said as remarks on the job, never a reason to refuse it."""

from datetime import datetime

from django.utils.timezone import localtime

from core.problems import FieldError
from jobs.work.calc.orders.marks import read_mark, remark_first_registered, remark_to_come
from jobs.work.calc.orders.vins import read_vin
from jobs.work.models import Job


def order_remarks(job: Job, *, at: datetime, mark_region: str) -> list[FieldError]:
    """Return the remarks on an order as it stands, each with the field it is about.

    Days are the workshop's own: an hour after midnight it is another day here than in UTC.
    """
    remarks: list[FieldError] = []
    today = localtime(at).date()
    if job.registration:
        mark = read_mark(job.registration, region=mark_region)
        remarks += [{"field": "registration", "message": text} for text in mark.remarks]
        if to_come := remark_to_come(mark, today):
            remarks.append({"field": "registration", "message": to_come})
        if job.first_registered and (doubt := remark_first_registered(mark, job.first_registered)):
            remarks.append({"field": "first_registered", "message": doubt})
    if job.vin:
        vin = read_vin(job.vin)
        remarks += [{"field": "vin", "message": text} for text in vin.remarks]
    if job.due_at and job.due_at < at:
        remarks.append({"field": "due_at", "message": "This time is past."})
    if job.first_registered and job.first_registered > today:
        remarks.append({"field": "first_registered", "message": "This date is still to come."})
    if not job.operations:
        remarks.append({"field": "operations", "message": "No operation was asked for."})
    return remarks
