"""When somebody looked at the dashboard."""

from django.db import models

from accounts.models import Person


class DashboardLook(models.Model):
    """Up to when a dealer's person has seen what happened to the cars."""

    person = models.OneToOneField(
        Person, on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    seen_until = models.DateTimeField()
    looked_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person_id} until {self.seen_until}"
