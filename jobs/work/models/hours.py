"""How long a workshop works on each day of the week."""

from django.db import models
from django.db.models import Q

from accounts.models import Organisation

DAYS_OF_WEEK = 7


class DayCapacity(models.Model):
    """How many minutes of work a workshop has on a day of the week; Monday is 0."""

    workshop = models.ForeignKey(
        Organisation, on_delete=models.PROTECT, related_name="+", db_index=False
    )
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
