"""Up to when a dealer's person has seen what happened to the cars."""

from datetime import datetime, timedelta
from uuid import UUID

from jobs.dashboard.selectors import look_of
from jobs.work.models import DashboardLook

# Our own choices: looks closer together are one look, and a first look goes back a day.
ONE_LOOK = timedelta(minutes=30)
FIRST_LOOK = timedelta(days=1)
NOTED_EVERY = timedelta(minutes=1)


def look_take(*, person_id: UUID, at: datetime) -> datetime:
    """Note that somebody looks at the dashboard; return since when things are new to them.

    After more than 30 minutes the look before becomes the moment up to which all was seen. Of two
    pages opened at once one notes the look, and both show the same.
    """
    look = look_of(person_id)
    if look is None:
        first = DashboardLook(person_id=person_id, seen_until=at - FIRST_LOOK, looked_at=at)
        DashboardLook.objects.bulk_create([first], ignore_conflicts=True)
        return first.seen_until
    gone = at - look.looked_at
    if gone < NOTED_EVERY:
        return look.seen_until
    seen_until = max(look.seen_until, look.looked_at) if gone > ONE_LOOK else look.seen_until
    unchanged = DashboardLook.objects.filter(person_id=person_id, looked_at=look.looked_at)
    unchanged.update(seen_until=seen_until, looked_at=at)
    return seen_until


def look_finish(*, person_id: UUID, until: datetime, at: datetime) -> None:
    """Note that somebody has seen all that happened `until` then; it never goes back."""
    seen_until = min(until, at)
    look, made = DashboardLook.objects.get_or_create(
        person_id=person_id, defaults={"seen_until": seen_until, "looked_at": at}
    )
    if not made and look.seen_until < seen_until:
        DashboardLook.objects.filter(person_id=person_id, seen_until__lt=seen_until).update(
            seen_until=seen_until
        )
