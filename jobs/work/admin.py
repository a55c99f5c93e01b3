"""The operator's view of jobs: to look, not to change; changes go through the services."""

from django.contrib import admin

from core.look_only import LookOnlyAdmin, LookOnlyInline
from jobs.work.models import HistoryEntry, Hold, Job, Task, WorkRequest


class HistoryInline(LookOnlyInline):
    """The history, oldest first."""

    model = HistoryEntry
    ordering = ["number"]
    fields = ["number", "kind", "from_stage", "to_stage", "reason", "occurred_at", "actor"]


class TaskInline(LookOnlyInline):
    """The tasks."""

    model = Task
    fields = ["operation", "state", "planned_minutes", "actual_minutes"]


class HoldInline(LookOnlyInline):
    """The holds."""

    model = Hold
    fields = ["cause", "reason", "started_at", "ended_at"]


class RequestInline(LookOnlyInline):
    """The requests for extra work."""

    model = WorkRequest
    fields = ["what", "state", "minutes", "price", "answer_by", "closed_at", "closed_by"]


@admin.register(Job)
class JobAdmin(LookOnlyAdmin):
    """Jobs with all that belongs to them."""

    list_display = [
        "registration",
        "dealer_ref",
        "dealer",
        "workshop",
        "stage",
        "decision",
        "open_holds",
        "received_at",
        "due_at",
    ]
    list_filter = ["stage", "decision", "is_open", "workshop", "dealer"]
    list_select_related = ["dealer", "workshop"]
    search_fields = ["registration", "registration_key", "vin", "dealer_ref"]
    date_hierarchy = "received_at"
    inlines = [TaskInline, HoldInline, RequestInline, HistoryInline]
