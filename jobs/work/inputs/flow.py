"""Which cars the flow is asked about: a period of whole days, and what it is narrowed by."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import date, timedelta
from typing import Any

from django.utils.timezone import localtime
from rest_framework import serializers

from core.api.serializers import StrictSerializer
from core.clock import now
from jobs.work.models import Job
from jobs.work.selectors.flow.figures import FlowAsked

USUAL_DAYS = 90
MOST_DAYS = 3 * 366
FIRST_DAY = date(2000, 1, 1)


def today() -> date:
    """Return the workshop's day."""
    return localtime(now()).date()


def _day(help_text: str) -> serializers.DateField:
    return serializers.DateField(
        required=False,
        error_messages={"invalid": "Give the day as in 2027-03-01."},
        help_text=help_text,
    )


class FlowQuery(StrictSerializer):
    """A period by days of the workshop's own, both included, and one dealer or purpose."""

    since = _day(f"The first day; left out: {USUAL_DAYS} days with the last one.")
    until = _day("The last day; left out: today.")
    dealer = serializers.UUIDField(
        required=False, error_messages={"invalid": "Give the id of one of your dealers."}
    )
    purpose = serializers.ChoiceField(Job.Purpose.choices, required=False)

    def validate_since(self, day: date) -> date:
        """Refuse a day that has no cars."""
        return _known(day)

    def validate_until(self, day: date) -> date:
        """Refuse a day that has no cars."""
        return _known(day)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Refuse a period that ends before it begins, or that is too long."""
        last = _read(data.get("until")) or today()
        first = _read(data.get("since"))
        if first is None or not FIRST_DAY <= first <= today():
            return {}
        if first > last:
            return {"until": ["The period ends before it begins; give a later day, or leave it."]}
        if (last - first).days >= MOST_DAYS:
            return {"since": [f"A period has at most {MOST_DAYS:,} days; begin later."]}
        return {}


def asked_of(values: Mapping[str, Any]) -> FlowAsked:
    """Return what was asked, from checked values, with what is usual where nothing was."""
    until = values.get("until") or today()
    return FlowAsked(
        since=values.get("since") or max(FIRST_DAY, until - timedelta(days=USUAL_DAYS - 1)),
        until=until,
        dealer_id=values.get("dealer"),
        purpose=values.get("purpose", ""),
    )


def _known(day: date) -> date:
    if day > today():
        raise serializers.ValidationError("This day is still to come.")
    if day < FIRST_DAY:
        raise serializers.ValidationError("Give a day of this century.")
    return day


def _read(text: Any) -> date | None:
    """Return the day where it is one; its own field says what is wrong with any other."""
    with suppress(TypeError, ValueError):
        return date.fromisoformat(text)
    return None
