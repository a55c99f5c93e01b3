"""A list of cars that a dealer sent, and changes of an order while the car is here."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation, Person
from core.ids import new_id
from jobs.work.models.jobs.history import HistoryEntry
from jobs.work.models.jobs.job import Job


class OrderImport(models.Model):
    """Work orders that a dealer sent as a file: taken in some at a time, each line answered.

    What is not taken in yet waits here, so that a page that was closed loses none of it.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    dealer = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    file_name = models.CharField(max_length=120)
    lines = models.JSONField(default=list, help_text="The orders as they were read, in order.")
    answers = models.JSONField(default=list, help_text="The answer to each line so far.")
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["dealer", "-id"], name="order_import_by_dealer"),
            models.Index(fields=["id"], condition=Q(finished_at=None), name="order_import_waiting"),
        ]

    def __str__(self) -> str:
        return self.file_name


class ScopeChange(models.Model):
    """A change the dealer made while the car was here, until the valeter has seen it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="scope_changes")
    entry = models.OneToOneField(HistoryEntry, on_delete=models.PROTECT, related_name="+")
    seen_at = models.DateTimeField(null=True)
    seen_by = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["job"], condition=Q(seen_at__isnull=True), name="scope_change_not_seen"
            )
        ]

    def __str__(self) -> str:
        return f"change {self.entry_id}"
