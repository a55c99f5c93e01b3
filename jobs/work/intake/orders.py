"""One way in for work orders, whether posted, in a batch, typed into a form or read from a file."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from rest_framework.exceptions import ValidationError

from accounts.caller import Caller
from core.api.errors import as_problem
from core.problems import InvalidRequest, Problem
from jobs.work.answers.orders import LineOutput
from jobs.work.inputs.catalogue import read_with_codes
from jobs.work.inputs.orders.orders import WorkOrderInput
from jobs.work.models import Job, OrderImport
from jobs.work.selectors.catalogue import Catalogues
from jobs.work.services.catalogue import order_refused
from jobs.work.services.orders.imports import import_keep, import_next
from jobs.work.services.orders.orders import account_ordered, work_order_receive

RECEIVED = 201


def order_take(caller: Caller, data: Any, catalogues: Catalogues) -> Job:
    """Take one order in as it was sent; everything wrong with it is raised at once."""

    def wrong(codes: Sequence[str]) -> str:
        named = data.get("workshop_id")
        try:
            account = account_ordered(caller, UUID(str(named)) if named else None)
        except (InvalidRequest, ValueError):  # nobody knows whose codes; the field itself is told
            return ""
        return order_refused(catalogues.of(account.workshop_id), codes)

    order = read_with_codes(WorkOrderInput(data=data), wrong)
    return work_order_receive(caller=caller, order=order, catalogues=catalogues)


def lines_take(caller: Caller, orders: Sequence[Any], *, first_number: int = 1) -> list[LineOutput]:
    """Take several orders in, each on its own, and return the answer to each line in order."""
    catalogues = Catalogues()
    return [
        line_take(caller, number, order, catalogues)
        for number, order in enumerate(orders, start=first_number)
    ]


def line_take(caller: Caller, number: int, order: Any, catalogues: Catalogues) -> LineOutput:
    """Take one line in and return the answer to it: a bad one never stops the good ones."""
    try:
        job = order_take(caller, order, catalogues)
    except (ValidationError, Problem) as error:
        problem = as_problem(error)
        return LineOutput(
            line=number,
            status=problem.status,
            job_id=None,
            remarks=[],
            problem=problem.as_dict(),
        )
    return LineOutput(
        line=number,
        status=RECEIVED,
        job_id=job.pk,
        remarks=job.remarks,
        problem=None,
    )


@transaction.atomic
def import_advance(caller: Caller, import_id: UUID) -> OrderImport:
    """Take the next lines of a list in, and keep the answer to each; at its end nothing is done.

    What one step takes in and its answers are one transaction, so a line is taken in once, however
    often the step is asked for, by however many pages and workers. Raises NotFound.
    """
    kept, lines = import_next(caller=caller, import_id=import_id)
    answers = lines_take(caller, lines, first_number=len(kept.answers) + 1)
    return import_keep(kept=kept, answers=[as_kept(answer) for answer in answers])


def as_kept(answer: LineOutput) -> dict[str, Any]:
    """Return what is kept of the answer to a line: the job, or why there is none."""
    problem: Mapping[str, Any] = answer.problem or {}
    wrong = [f"{error['field']}: {error['message']}" for error in problem.get("errors", ())]
    doubts = [remark["message"] for remark in answer.remarks]
    return {
        "job_id": str(answer.job_id or ""),
        "reasons": wrong or ([problem["detail"]] if problem else doubts),
        "next_step": problem.get("next_step", ""),
        "existing": str(problem.get("existing_job_id", "")),
    }
