"""Work orders by form: a new one, a change, a cancellation."""

from hashlib import sha256
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils.http import urlencode

from accounts.caller import Access, Caller, Scope, dealers
from accounts.pages.base import PageView
from core.forms import Field, PageForm
from core.idempotency import answer_body, answer_once
from core.ids import new_id
from core.models import IdempotentAnswer
from core.problems import Problem
from jobs.dashboard.fields import (
    WHEN_AND_WHERE,
    WHICH_CAR,
    Choices,
    about_operations,
    change_fields,
    folds_of,
    order_fields,
    workshops_of,
)
from jobs.dashboard.selectors import changed_since, order_for_page
from jobs.work.inputs.jobs import LONGEST_REASON, ReasonInput
from jobs.work.inputs.orders.orders import WorkOrderChangeInput, WorkOrderInput
from jobs.work.models import Job
from jobs.work.problems import DuplicateOrder
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.services.orders.orders import (
    NewOrder,
    OrderChange,
    work_order_cancel,
    work_order_change,
    work_order_receive,
)

ORDER = dealers(Scope.ORDER)
BOTH: dict[str, Access] = {"GET": ORDER, "POST": ORDER}
ONCE, TOKEN = "once", "csrfmiddlewaretoken"
MEANWHILE = (
    "Somebody else changed this order meanwhile. What you see below is yours; "
    "save again to have it so."
)


class OrderNew(PageView):
    """A new work order."""

    access: ClassVar[dict[str, Access]] = BOTH

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form; where there are several workshops one is chosen first."""
        workshops = workshops_of(caller)
        chosen = _chosen(workshops, request.GET.get("workshop", ""))
        if not chosen:
            return self.choice(request, caller, workshops)
        standing = {"workshop_id": chosen}
        form = PageForm(WorkOrderInput, order_fields(caller, workshops), standing=standing)
        return self.form(request, caller, form, chosen)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Take the order in, once, and go on to the car."""
        workshops = workshops_of(caller)
        chosen = _chosen(workshops, request.POST.get("workshop_id", ""))
        if not chosen:
            return self.choice(request, caller, workshops, 400)
        form = PageForm(WorkOrderInput, order_fields(caller, workshops), typed=request.POST)
        if not form.is_valid():
            return self.form(request, caller, form, chosen, 400)
        try:
            job_id = receive_once(caller, form.taken, request)
        except DuplicateOrder as problem:
            return self.form(request, caller, form, chosen, problem.status, there_is=problem.extra)
        except Problem as problem:
            form.add_problem(problem)
            return self.form(request, caller, form, chosen, problem.status)
        return self.done(
            request, reverse("dashboard_car", args=[job_id]), "Sent. This is how it stands."
        )

    def choice(
        self, request: HttpRequest, caller: Caller, workshops: Choices, status: int = 200
    ) -> HttpResponse:
        """Ask which workshop is meant, or say whom to ask where there is none."""
        template = "jobs/dashboard/order_where.html"
        return self.page(
            request, caller, template, status=status, here="order", workshops=workshops
        )

    def form(
        self,
        request: HttpRequest,
        caller: Caller,
        form: PageForm,
        workshop: str,
        status: int = 200,
        **more: Any,
    ) -> HttpResponse:
        """Show the form as it stands."""
        return self.page(
            request,
            caller,
            "jobs/dashboard/order_new.html",
            status=status,
            here="order",
            form=form,
            which_car=[form.fields[field.name] for field in WHICH_CAR],
            when_and_where=[form.fields[field.name] for field in WHEN_AND_WHERE],
            folds=folds_of(form),
            once=request.POST.get(ONCE) or new_id(),
            **about_operations(form, catalogue_of(UUID(workshop))),
            **more,
        )


def _chosen(workshops: Choices, wanted: str) -> str:
    """Return the workshop that is meant: the one wanted, or the only one; else nothing."""
    if len(workshops) == 1:
        return workshops[0][0]
    return wanted if wanted in dict(workshops) else ""


def receive_once(caller: Caller, order: NewOrder, request: HttpRequest) -> UUID:
    """Take the order in and return the car's id; the same form sent again gives the first one.

    The form carries a word made for it alone; with other contents it is another order.
    """
    sent = [
        (name, value)
        for name, many in sorted(request.POST.lists())
        if name != TOKEN
        for value in many
    ]
    digest = sha256(urlencode(sent).encode()).hexdigest()

    def work() -> HttpResponseBase:
        return HttpResponse(str(work_order_receive(caller=caller, order=order).pk))

    answer = answer_once(
        organisation_id=caller.organisation_id,
        key=f"order-form-{digest}",
        request_fingerprint=digest,
        work=work,
    )
    if isinstance(answer, IdempotentAnswer):
        return UUID(answer_body(answer).decode())
    return UUID(getattr(answer, "content", b"").decode())


class OrderChangePage(PageView):
    """A change of an order, before or during the work."""

    access: ClassVar[dict[str, Access]] = BOTH

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Show what stands."""
        job = order_for_page(caller, job_id)
        form = PageForm(
            WorkOrderChangeInput, change_fields(), standing=standing_of(job), partial=True
        )
        return self.form(request, caller, job, form)

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Change what differs; a change by somebody else in between is told first."""
        job = order_for_page(caller, job_id)
        fields = change_fields()
        form = PageForm(WorkOrderChangeInput, fields, typed=request.POST, partial=True)
        if not form.is_valid():
            return self.form(request, caller, job, form, 400)
        if changed_since(job, _version(request.POST.get("version", ""), job)):
            form.other.append(MEANWHILE)
            return self.form(request, caller, job, form, 409)
        try:
            change = OrderChange(**differing(form, job, fields))
            work_order_change(caller=caller, job_id=job_id, change=change)
        except Problem as problem:
            form.add_problem(problem)
            return self.form(request, caller, job, form, problem.status)
        return self.done(
            request, reverse("dashboard_car", args=[job_id]), "Saved. The workshop knows."
        )

    def form(
        self, request: HttpRequest, caller: Caller, job: Job, form: PageForm, status: int = 200
    ) -> HttpResponse:
        """Show the form as it stands."""
        template = "jobs/dashboard/order_change.html"
        about = about_operations(form, catalogue_of(job.workshop_id), job.operations)
        fields = [field for name, field in form.fields.items() if name != "operations"]
        return self.page(
            request, caller, template, status=status, here="dashboard",
            job=job, form=form, fields=fields, **about,
        )  # fmt: skip


def standing_of(job: Job) -> dict[str, Any]:
    """Return what the change's form shows of an order."""
    return {field.name: getattr(job, field.name) for field in change_fields()}


def differing(form: PageForm, job: Job, fields: list[Field]) -> dict[str, Any]:
    """Return what was typed otherwise than it stands, to the minute that a form shows."""
    stood = PageForm(form.serializer, fields, standing=standing_of(job), partial=True)
    changed = {}
    for name, value in form.values.items():
        if name not in form.fields:
            continue
        typed, was = form.fields[name].value, stood.fields[name].value
        same = (
            sorted(typed) == sorted(was)
            if isinstance(typed, list)
            else _lines(typed) == _lines(was)
        )
        if not same:
            changed[name] = value
    return changed


def _lines(text: Any) -> list[str]:
    """Return text by line: a browser ends its lines with a carriage return."""
    return str(text).strip().splitlines()


def _version(text: str, job: Job) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else job.version  # noqa: PLR2004


class OrderCancel(PageView):
    """An order cancelled, after a question whether it should be."""

    access: ClassVar[dict[str, Access]] = BOTH

    def get(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Ask."""
        form = PageForm(ReasonInput, [_why()])
        return self.form(request, caller, order_for_page(caller, job_id), form)

    def post(self, request: HttpRequest, caller: Caller, job_id: UUID) -> HttpResponse:
        """Cancel it."""
        job = order_for_page(caller, job_id)
        form = PageForm(ReasonInput, [_why()], typed=request.POST)
        if not form.is_valid():
            return self.form(request, caller, job, form, 400)
        work_order_cancel(caller=caller, job_id=job_id, reason=form.values.get("reason", ""))
        said = "Cancelled. The workshop knows."
        if job.arrived_at:
            said = "Cancelled. The car is still at the workshop: have it taken away."
        return self.done(request, reverse("dashboard_car", args=[job_id]), said)

    def form(
        self, request: HttpRequest, caller: Caller, job: Job, form: PageForm, status: int = 200
    ) -> HttpResponse:
        """Show the question."""
        template = "jobs/dashboard/order_cancel.html"
        return self.page(
            request, caller, template, status=status, here="dashboard", job=job, form=form
        )


def _why() -> Field:
    return Field("reason", "Why, if you like to say it", "textarea", longest=LONGEST_REASON)
