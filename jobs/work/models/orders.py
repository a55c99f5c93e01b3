"""What pages keep: a dealer's list of cars on its way in, when somebody looked, working hours."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation, Person
from core.ids import new_id

DAYS_OF_WEEK = 7


class OrderImport(models.Model):
    """Work orders that a dealer sent as a file: taken in some at a time, each line answered.

    What is not taken in yet waits here, so that a page that was closed loses none of it.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    dealer = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
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


class DashboardLook(models.Model):
    """Up to when a dealer's person has seen what happened to the cars."""

    person = models.OneToOneField(
        Person, on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    seen_until = models.DateTimeField()
    looked_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person_id} until {self.seen_until}"


class DayCapacity(models.Model):
    """How many minutes of work a workshop has on a day of the week; Monday is 0."""

    workshop = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    weekday = models.PositiveSmallIntegerField()
    minutes = models.PositiveIntegerField()

    class Meta:
        verbose_name_plural = "day capacities"
        constraints = [
            models.UniqueConstraint(fields=["workshop", "weekday"], name="day_capacity_once"),
            models.CheckConstraint(
                condition=Q(weekday__lt=DAYS_OF_WEEK), name="day_capacity_of_a_week"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.weekday}: {self.minutes} min"
