"""How many minutes of work a workshop has on each day of the week."""

from collections.abc import Mapping

from django.db import transaction

from accounts.caller import Caller
from jobs.work.models import DayCapacity


@transaction.atomic
def capacity_set(*, caller: Caller, minutes: Mapping[int, int]) -> list[DayCapacity]:
    """Set the minutes for days of the week (Monday is 0); a day not named stays as it is."""
    kept = []
    for weekday, amount in sorted(minutes.items()):
        day, _ = DayCapacity.objects.update_or_create(
            workshop_id=caller.organisation_id, weekday=weekday, defaults={"minutes": amount}
        )
        kept.append(day)
    return kept
