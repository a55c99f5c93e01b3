"""How long a kind of data is kept: for all, or at a workshop that has a term of its own."""

from collections import defaultdict
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db.models import Q

from jobs.retention.models import Term
from jobs.retention.terms import DataKind


def days_for_all(kind: DataKind) -> int:
    """Return for how many days a kind is kept where a workshop has no term of its own."""
    days: int = settings.KEEP_DAYS[kind]
    return days


def over_for_all(kind: DataKind, at: datetime) -> datetime:
    """Return the instant before which a kind is over, where workshops make no difference."""
    return at - timedelta(days=days_for_all(kind))


def own_terms(kind: DataKind) -> dict[UUID, int]:
    """Return the days of the workshops that have a term of their own."""
    return dict(Term.objects.filter(kind=kind).values_list("workshop_id", "days"))


def over(kind: DataKind, at: datetime, *, moment: str, workshop: str = "workshop") -> Q:
    """Return the condition that the term of a row is over at an instant.

    `moment` is the lookup of what the term runs from, `workshop` the one of whose it is.
    """
    by_days = defaultdict(list)
    for workshop_id, days in own_terms(kind).items():
        by_days[days].append(workshop_id)
    special = [workshop_id for ids in by_days.values() for workshop_id in ids]
    condition = Q(**{f"{moment}__lt": over_for_all(kind, at)})
    if special:
        condition &= ~Q(**{f"{workshop}__in": special})
    for days, ids in by_days.items():
        before = at - timedelta(days=days)
        condition |= Q(**{f"{workshop}__in": ids, f"{moment}__lt": before})
    return condition
