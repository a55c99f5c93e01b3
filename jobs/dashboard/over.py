"""The end of a "do not drive" on the dealer's pages: repaired, or to be transported."""

from typing import ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from accounts.caller import Access, Caller
from core.forms import Field, PageForm
from core.problems import Conflict, InvalidRequest
from jobs.dashboard.story import ORDER, CarView
from jobs.work.calc.findings import FindingKind, Over, Weight, caution_for
from jobs.work.inputs.findings import ClearInput
from jobs.work.selectors.findings.findings import finding_of
from jobs.work.services.findings.do_not_drive import finding_clear

HOW = [
    (Over.REPAIRED.value, "It was repaired"),
    (Over.TRANSPORTED.value, "It will be transported, not driven"),
]
FIELDS = [
    Field("how", "What happened", "choice", required=True, choices=HOW),
    Field("by", "Who repaired it, or who transports it", required=True, longest=200),
    Field("at", "When (optional)", "datetime", hint="Left empty: now."),
]


class FindingOver(CarView):
    """A "do not drive" that is over."""

    access: ClassVar[dict[str, Access]] = {"GET": ORDER, "POST": ORDER}

    def get(self, request: HttpRequest, caller: Caller, finding_id: UUID) -> HttpResponse:
        """Ask how it ended."""
        return self.form(request, caller, finding_id, PageForm(ClearInput, FIELDS))

    def post(self, request: HttpRequest, caller: Caller, finding_id: UUID) -> HttpResponse:
        """Record it."""
        form = PageForm(ClearInput, FIELDS, typed=request.POST)
        if not form.is_valid():
            return self.form(request, caller, finding_id, form, 400)
        values = form.values
        try:
            finding = finding_clear(
                caller=caller,
                finding_id=finding_id,
                how=Over(values["how"]),
                by=values["by"],
                at=values.get("at"),
            )
        except (Conflict, InvalidRequest) as problem:
            form.add_problem(problem)
            return self.form(request, caller, finding_id, form, problem.status)
        still = " The car must still not be driven." if finding.must_not_be_driven else ""
        return self.back(request, finding.job_id, f"Recorded. The workshop knows.{still}")

    def form(
        self,
        request: HttpRequest,
        caller: Caller,
        finding_id: UUID,
        form: PageForm,
        status: int = 200,
    ) -> HttpResponse:
        """Show the form with the finding it is about."""
        finding = finding_of(caller, finding_id)
        return self.page(
            request,
            caller,
            "jobs/dashboard/finding_over.html",
            status=status,
            here="dashboard",
            form=form,
            fields=list(form.fields.values()),
            finding=finding,
            caution=caution_for(FindingKind(finding.kind), Weight(finding.weight)),
        )
