"""How long what is left on one car takes, at the desk."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from accounts.caller import Access, Caller
from jobs.desk.base import MANAGERS, DeskPage
from jobs.desk.minutes import says_of
from jobs.work.calc.minutes.durations import Forecast
from jobs.work.calc.minutes.soiling import LEVELS
from jobs.work.models import Task
from jobs.work.selectors.minutes import Estimate, estimate_of


@dataclass(frozen=True, slots=True)
class Row:
    """One open task: the minutes worked on it, and how many more it takes, in whole minutes."""

    task: Task
    worked: int
    likely: int
    within: int
    says: str


class DeskEstimate(DeskPage):
    """How long the open tasks of a car still take, each and together."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS}

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show it."""
        estimate = estimate_of(caller, job_id)
        dirt = LEVELS.get(estimate.job.soiling or 0)
        return self.page(
            request,
            caller,
            "jobs/desk/estimate.html",
            here="desk",
            job=estimate.job,
            size=estimate.job.get_body_size_display(),
            dirt=dirt,
            rows=rows_of(estimate),
            likely=round(estimate.whole.likely),
            within=round(estimate.whole.four_of_five),
            learnt_from=estimate.learnt_from,
        )


def rows_of(estimate: Estimate) -> Sequence[Row]:
    """Return the open tasks as the page shows them."""
    return [_row(*line) for line in estimate.tasks]


def _row(task: Task, worked: int, forecast: Forecast) -> Row:
    likely, within = round(forecast.likely), round(forecast.four_of_five)
    return Row(task, worked, likely, within, says_of(forecast))
