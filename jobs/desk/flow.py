"""Where cars wait: by stage and cause, how long they take, what changed, and what limits."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils.http import urlencode

from accounts.caller import Caller
from accounts.models import Organisation
from core.clock import now
from core.forms import Field, PageForm
from core.pages import HEADERS
from core.problems import InvalidRequest
from jobs.desk.base import DeskPage
from jobs.desk.flow_pictures import bars, chart
from jobs.work.answers.flow.sheet import sheet
from jobs.work.answers.flow.shown import SECONDS_A_DAY
from jobs.work.calc.flow.course import CAUSES, STAGES, Cause
from jobs.work.calc.flow.figures import FEW_CARS, SECONDS_A_MINUTE, Load
from jobs.work.inputs.flow import FlowQuery, asked_of
from jobs.work.models import Job
from jobs.work.selectors.flow.figures import FlowAsked, FlowFigures, Lead, check_dealer, flow_of
from jobs.work.selectors.jobs.jobs import dealers_of
from jobs.work.words.flow import (
    CAUSE_WORDS,
    CHART_METHOD,
    LIMIT_DEFINITION,
    LITTLE_WORDS,
    LOAD_ASSUMES,
    PEOPLE_WORDS,
    load_words,
    steady_words,
)

MOST_ROWS = 60  # of dealers and purposes; the rest is in the API and can be chosen one by one
MOST_FLAGGED = 20
PURPOSES = dict(Job.Purpose.choices)


def flow_form(request: HttpRequest, dealers: Sequence[Organisation]) -> PageForm:
    """Return the form over the page; what was left open is filled in with what is usual."""
    fields = [
        Field("since", "From the day", "date"),
        Field("until", "To the day", "date"),
        Field(
            "dealer",
            "Dealer",
            "select",
            choices=[("", "All dealers"), *((str(dealer.pk), dealer.name) for dealer in dealers)],
        ),
        Field("purpose", "Purpose", "select", choices=[("", "All purposes"), *Job.Purpose.choices]),
    ]
    typed = request.GET.copy()
    if not typed.get("since") and not typed.get("until"):
        usual = asked_of({})
        typed["since"], typed["until"] = usual.since.isoformat(), usual.until.isoformat()
    return PageForm(FlowQuery, fields, typed=typed)


def asked_by(form: PageForm, dealers: Sequence[Organisation]) -> FlowAsked | None:
    """Return which cars the form asks about, or None; what is wrong then stands in the form."""
    if not form.is_valid():
        return None
    asked = asked_of(form.values)
    try:
        check_dealer(asked, dealers)
    except InvalidRequest as problem:
        form.add_problem(problem)
        return None
    return asked


class DeskFlow(DeskPage):
    """The page."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the figures of a period, or what is wrong with it."""
        dealers = dealers_of(caller)
        form = flow_form(request, dealers)
        asked = asked_by(form, dealers)
        about: dict[str, Any] = {}
        if asked is not None:
            about = shown(flow_of(caller, asked, now(), dealers=dealers))
        return self.page(
            request,
            caller,
            "jobs/desk/flow/flow.html",
            status=200 if asked else 400,
            here="flow",
            form=form,
            fields=list(form.fields.values()),
            **about,
        )


class DeskFlowSheet(DeskPage):
    """The cars as a file."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponseBase:
        """Download the cars of the period, or go back to the page where it cannot be."""
        dealers = dealers_of(caller)
        asked = asked_by(flow_form(request, dealers), dealers)
        if asked is None:
            return self.done(request, f"{reverse('desk_flow')}?{request.GET.urlencode()}")
        answer = sheet(caller, asked, now())
        for name, value in HEADERS.items():  # a stream gets none by itself
            answer.headers.setdefault(name, value)
        return answer


def shown(figures: FlowFigures) -> dict[str, Any]:
    """Return what the page shows of the figures."""
    cars = figures.totals.cars
    together = next(iter(figures.leads()), None)
    return {
        "figures": figures,
        "usual": figures.asked == asked_of({}),
        "cars": cars,
        "few": 0 < cars < FEW_CARS,
        "all_times": together and times_row(together),
        "on_time_percent": _percent(figures.on_time, figures.with_due),
        "rework_percent": _percent(figures.reworked, cars),
        "bars": bars(figures.stages, cars),
        "legend": [(cause, CAUSE_WORDS[cause]) for cause in CAUSES],
        "limit": limit_row(figures),
        "load": figures.load and load_row(figures.load),
        **times_shown(figures),
        **chart_shown(figures),
        **now_shown(figures),
        "law": law_row(figures),
        "sheet": f"{reverse('desk_flow_csv')}?{query(figures.asked)}",
    }


def times_shown(figures: FlowFigures) -> dict[str, Any]:
    """Return the times by dealer and purpose, as many as the page carries."""
    rows = figures.leads(by_dealer=True, by_purpose=True)
    return {
        "times": [times_row(row) for row in rows[:MOST_ROWS]],
        "more_times": max(0, len(rows) - MOST_ROWS),
    }


def times_row(lead: Lead) -> dict[str, Any]:
    """Return a line of the table of times."""
    return {
        "dealer": lead.dealer,
        "purpose": PURPOSES.get(lead.purpose, ""),
        "cars": lead.times.cars,
        "p50": _minutes(lead.times.p50),
        "p80": _minutes(lead.times.p80),
        "few": lead.times.few,
    }


def chart_shown(figures: FlowFigures) -> dict[str, Any]:
    """Return the chart, and the latest of the cars that it flags."""
    drawn = chart(figures.points, figures.chart)
    flagged = drawn.flagged if drawn else ()
    return {
        "chart": drawn,
        "flagged": flagged[:MOST_FLAGGED],
        "more_flagged": max(0, len(flagged) - MOST_FLAGGED),
        "steady": steady_words(figures.chart),
        "before": figures.cars_before,
        "method": CHART_METHOD,
    }


def limit_row(figures: FlowFigures) -> dict[str, Any] | None:
    """Return the limiting stage in words, or None where there is none."""
    most = figures.limit
    if most is None:
        return None
    cars = figures.totals.cars
    return {
        "stage": most.stage,
        "percent": round(100 * most.of_people / figures.totals.lead_seconds),
        "worked": _minutes(most.causes[Cause.WORKING] / cars),
        "waited": _minutes(most.waited_for / cars),
        "people": PEOPLE_WORDS.get(most.stage, ""),
        "definition": LIMIT_DEFINITION,
    }


def load_row(load: Load) -> dict[str, Any]:
    """Return the load and what it means."""
    return {
        "percent": round(100 * load.share),
        "people": load.people,
        "words": load_words(load),
        "full": load.now is None,
        "assumes": LOAD_ASSUMES,
    }


def now_shown(figures: FlowFigures) -> dict[str, Any]:
    """Return the cars in work, a line for each stage with what they wait for."""
    rows = []
    for stage in STAGES:
        causes = [
            (CAUSE_WORDS[cause], figures.now[stage, cause])
            for cause in CAUSES
            if (stage, cause) in figures.now
        ]
        if causes:
            rows.append((stage, sum(count for _, count in causes), causes))
    return {"now_rows": rows, "in_work": sum(figures.now.values())}


def law_row(figures: FlowFigures) -> dict[str, Any]:
    """Return Little's law in figures that a person reads."""
    law = figures.law
    return {
        "inside": f"{law.inside:.2f}",
        "rate": f"{law.rate * SECONDS_A_DAY:.2f}",
        "days": f"{law.time / SECONDS_A_DAY:.2f}",
        "by_law": f"{law.by_law:.2f}",
        "difference": f"{law.difference:+.2f}",
        "before": f"{law.before:.2f}",
        "unfinished": f"{law.unfinished:.2f}",
        "words": LITTLE_WORDS,
    }


def query(asked: FlowAsked) -> str:
    """Return what was asked as it follows a question mark."""
    named = {
        "since": asked.since.isoformat(),
        "until": asked.until.isoformat(),
        "dealer": str(asked.dealer_id or ""),
        "purpose": asked.purpose,
    }
    return urlencode({name: value for name, value in named.items() if value})


def _minutes(seconds: float) -> int:
    return round(seconds / SECONDS_A_MINUTE)


def _percent(part: int, whole: int) -> int | None:
    return round(100 * part / whole) if whole else None
