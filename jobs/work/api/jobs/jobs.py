"""Jobs over HTTP: lists, one job, its history."""

from typing import Any, ClassVar
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from django.urls import path
from django_filters.rest_framework import DjangoFilterBackend, FilterSet
from drf_spectacular.utils import extend_schema
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, shown_to
from core.api.examples import answered
from core.api.filters import YesNoFilter, ZonedTimeFilter
from jobs.work.answers.jobs import examples
from jobs.work.answers.jobs.outputs import (
    HistoryEntryOutput,
    HistoryOutput,
    JobDetailOutput,
    JobOutput,
)
from jobs.work.calc.stages.machine import Stage
from jobs.work.models import Job
from jobs.work.selectors.jobs.jobs import history_of, job_of, jobs_of, registration_matches
from jobs.work.selectors.jobs.reminders import reminders_of


class JobFilter(FilterSet):  # type: ignore[misc]  # the library has no types
    """What a list of jobs can be narrowed by."""

    stage = django_filters.MultipleChoiceFilter(
        choices=[(stage.value, stage.value) for stage in Stage], help_text="May be repeated."
    )
    dealer = django_filters.UUIDFilter(field_name="dealer_id")
    workshop = django_filters.UUIDFilter(field_name="workshop_id")
    dealer_ref = django_filters.CharFilter(max_length=60)
    registration = django_filters.CharFilter(
        method="by_registration", max_length=40, help_text="In any spelling."
    )
    vin = django_filters.CharFilter(lookup_expr="iexact", max_length=40)
    due_before = ZonedTimeFilter(field_name="due_at", lookup_expr="lt")
    due_after = ZonedTimeFilter(field_name="due_at", lookup_expr="gte")
    on_hold = YesNoFilter(method="by_hold")
    do_not_drive = YesNoFilter(field_name="do_not_drive")
    open = YesNoFilter(field_name="is_open")

    class Meta:
        model = Job
        fields: ClassVar[list[str]] = []

    def by_registration(self, jobs: QuerySet[Job], name: str, value: str) -> QuerySet[Job]:
        """Match the mark however it was typed."""
        del name
        return registration_matches(jobs, value)

    def by_hold(self, jobs: QuerySet[Job], name: str, value: bool) -> QuerySet[Job]:  # noqa: FBT001  django-filter calls it so
        """Match jobs that wait for something, or those that do not."""
        del name
        return jobs.filter(open_holds__gt=0) if value else jobs.filter(open_holds=0)


class JobList(ListAPIView[Job], ApiView):
    """Jobs, newest first."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}
    serializer_class = JobOutput
    filter_backends = [DjangoFilterBackend]
    filterset_class = JobFilter
    queryset = Job.objects.none()  # for the schema only

    def get_queryset(self) -> QuerySet[Job]:
        """Return the caller's own jobs."""
        return jobs_of(caller_of(self.request))

    def get_serializer_context(self) -> dict[str, Any]:
        """Say what the caller may see."""
        return {**super().get_serializer_context(), **shown_to(caller_of(self.request))}

    @extend_schema(
        operation_id="job_list",
        tags=["jobs"],
        examples=[answered("A page of jobs", examples.JOB)],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List jobs, newest first; follow `next` for more."""
        return super().get(request, *args, **kwargs)


class JobDetail(ApiView):
    """One job."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="job_read",
        tags=["jobs"],
        responses={200: JobDetailOutput},
        examples=[answered("A job in cleaning", examples.JOB_DETAIL)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Read one job with its tasks, holds and clocks, and what must not be forgotten."""
        caller = caller_of(request)
        job = job_of(caller, job_id)
        context = {**shown_to(caller), "reminders": reminders_of(job)}
        return Response(JobDetailOutput(job, context=context).data)


class JobHistory(ApiView):
    """What happened to a job."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="job_history",
        tags=["jobs"],
        responses={200: HistoryOutput},
        examples=[answered("One move", examples.HISTORY)],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """Read the whole history of a job: every move, hold, task and change, oldest first."""
        caller = caller_of(request)
        entries = HistoryEntryOutput.rows(history_of(caller, job_id), shown_to(caller))
        return Response(HistoryOutput(entries=entries))


urlpatterns = [
    path("jobs", JobList.as_view()),
    path("jobs/<uuid:job_id>", JobDetail.as_view()),
    path("jobs/<uuid:job_id>/history", JobHistory.as_view()),
]
