"""What callers send about requests for extra work."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from rest_framework import serializers

from core.api.serializers import DeviceTimeField, Input, StrictSerializer, ZonedDateTimeField
from core.clock import now
from jobs.work.inputs.jobs import LONGEST_REASON
from jobs.work.services.requests.requests import APPROVE, ASK, DECLINE, Proposal

# Longer than a car stays. Common practice, no source.
LONGEST_WAIT = timedelta(days=30)
MOST_OPERATIONS = 20
MOST_PHOTOS = 12
MOST_MINUTES = 10_000
LONGEST_MESSAGE = 1000


class AnswerByField(ZonedDateTimeField):
    """Until when an answer is wanted: to come, and within 30 days."""

    default_error_messages = {
        "past": "This time is past; give one that is still to come.",
        "far": "This is more than 30 days ahead.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        instant = super().to_internal_value(value)
        if instant <= now():
            self.fail("past")
        if instant > now() + LONGEST_WAIT:
            self.fail("far")
        return instant


class RequestInput(Input[Proposal]):
    """Extra work proposed to the dealer."""

    what = serializers.CharField(max_length=200)
    why = serializers.CharField(max_length=1000)
    if_not_done = serializers.CharField(max_length=500)
    operations = serializers.ListField(
        child=serializers.CharField(max_length=40),
        min_length=1,
        max_length=MOST_OPERATIONS,
        help_text="Codes of operations; an approval makes each a task.",
    )
    minutes = serializers.IntegerField(
        min_value=1,
        max_value=MOST_MINUTES,
        help_text="In all; shared out among the tasks in proportion to their standard minutes.",
    )
    price = serializers.DecimalField(
        required=False,
        allow_null=True,
        max_digits=8,
        decimal_places=2,
        min_value=0,
        help_text="As a string; only callers with prices.read may give one.",
    )
    currency = serializers.RegexField(
        r"^[A-Z]{3}\Z", required=False, help_text="ISO 4217; the service's own where left out."
    )
    answer_by = AnswerByField(help_text="The request lapses then.")
    hold = serializers.BooleanField(help_text="True: the car waits for the answer.")
    photo_ids = serializers.ListField(
        child=serializers.UUIDField(), required=False, max_length=MOST_PHOTOS
    )
    occurred_at = DeviceTimeField(required=False)

    def validate_operations(self, codes: list[str]) -> list[str]:
        """Keep each code once; whether it is an operation, the workshop's catalogue says."""
        return list(dict.fromkeys(codes))

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        errors = {}
        operations, minutes = data.get("operations"), data.get("minutes")
        if isinstance(operations, list) and isinstance(minutes, int):
            each = {code for code in operations if isinstance(code, str)}
            if 0 < minutes < len(each):
                errors["minutes"] = ["Give at least a minute for each operation."]
        if data.get("currency") is not None and data.get("price") is None:
            errors["currency"] = ["A currency goes with a price only."]
        return errors


class AnswerInput(StrictSerializer):
    """The dealer's answer."""

    answer = serializers.ChoiceField([APPROVE, DECLINE, ASK])
    note = serializers.CharField(
        max_length=LONGEST_REASON,
        required=False,
        allow_blank=True,
        help_text="With approve or decline.",
    )
    question = serializers.CharField(
        max_length=LONGEST_MESSAGE, required=False, help_text="Needed with ask, and only then."
    )
    occurred_at = DeviceTimeField(required=False)

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        asks = data.get("answer") == ASK
        if asks and "question" not in data:
            return {"question": ["Give the question."]}
        if not asks and "question" in data:
            return {"question": ["A question goes with the answer ask only."]}
        if asks and data.get("note"):
            return {"note": ["With ask, say it in the question."]}
        return {}


class ReplyInput(StrictSerializer):
    """The workshop's reply to a question."""

    text = serializers.CharField(max_length=LONGEST_MESSAGE)
    answer_by = AnswerByField(required=False, help_text="Gives more time, or less.")
    occurred_at = DeviceTimeField(required=False)


class WithdrawInput(StrictSerializer):
    """Why the workshop withdraws its request."""

    reason = serializers.CharField(max_length=LONGEST_REASON)
    occurred_at = DeviceTimeField(required=False)


class ChangeSeenInput(StrictSerializer):
    """Nothing but the device's time."""

    occurred_at = DeviceTimeField(required=False)
