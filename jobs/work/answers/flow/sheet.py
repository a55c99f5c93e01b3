"""The cars of a period as CSV, a line each, written while it is read."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.utils.timezone import localtime

from accounts.caller import Caller
from core.spreadsheet import csv_lines
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.calc.flow.figures import SECONDS_A_MINUTE
from jobs.work.models import FlowCar
from jobs.work.selectors.flow.figures import FlowAsked, flow_cars

CSV = "text/csv"
AT_ONCE = 2000
PARTS = [f"{stage}_{cause}" for stage in STAGES for cause in CAUSES]
WAITED_FOR = [f"for_{stage}" for stage in STAGES[1:]]
COLUMNS = (
    "pk", "job__registration", "job__vin", "job__dealer_ref", "dealer__name", "purpose",
    "arrived_at", "ready_at", "due_at", "on_time", "rework_count",
    "lead_seconds", "person_seconds", *WAITED_FOR, *PARTS,
)  # fmt: skip
HEADER = (
    "job_id", "registration", "vin", "dealer_ref", "dealer", "purpose",
    "arrived_at", "ready_at", "due_at", "on_time", "rework_count",
    "lead_minutes", "person_minutes", *(f"{name}_minutes" for name in (*WAITED_FOR, *PARTS)),
)  # fmt: skip


def sheet(caller: Caller, asked: FlowAsked, at: datetime) -> StreamingHttpResponse:
    """Return the cars of the period as a file that is sent while it is read."""
    name = f"flow-{asked.since}-{asked.until}.csv"
    return StreamingHttpResponse(
        lines(flow_cars(caller, asked, at)),
        content_type=f"{CSV}; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def lines(cars: QuerySet[FlowCar]) -> Iterator[str]:
    """Yield the header and a line for each car, in the order they became ready."""
    rows = cars.order_by("ready_at", "pk").values_list(*COLUMNS)
    yield from csv_lines([HEADER])
    yield from csv_lines(cells(row) for row in rows.iterator(chunk_size=AT_ONCE))


def cells(row: Sequence[Any]) -> list[Any]:
    """Return a car's cells from its COLUMNS; times are the workshop's own with their zone."""
    named, moments, (on_time, rework), seconds = row[:6], row[6:9], row[9:11], row[11:]
    return [
        *(str(value) for value in named),
        *(
            "" if moment is None else localtime(moment).isoformat(timespec="seconds")
            for moment in moments
        ),
        "" if on_time is None else ("yes" if on_time else "no"),
        rework,
        *(round(second / SECONDS_A_MINUTE, 2) for second in seconds),
    ]
