"""What everything taken down about a car carries: when, by either clock, and who."""

from django.db import models


class Noted(models.Model):
    """Something taken down about a job by a person or a system."""

    occurred_at = models.DateTimeField(help_text="By the device's clock.")
    recorded_at = models.DateTimeField(help_text="By the server's clock.")
    actor = models.CharField(max_length=200)
    actor_person_id: "models.UUIDField" = models.UUIDField(null=True)  # type: ignore[type-arg]

    class Meta:
        abstract = True
