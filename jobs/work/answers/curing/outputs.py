"""What callers see of what cures and dries on a car."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from rest_framework import serializers

from core.api.serializers import OutputModelSerializer, ZonedDateTimeField
from core.templatetags.look import said
from jobs.work.calc.curing.outside import Outside
from jobs.work.calc.curing.outside_words import outside_words
from jobs.work.models import WaitClock
from jobs.work.selectors.air import is_stale
from jobs.work.selectors.curing.waits import ClockNow, Waits
from jobs.work.services.products import Applied

_MINUTE = timedelta(minutes=1)


class ClockOutput(OutputModelSerializer):
    """Something that cures or dries, as it was last worked out."""

    operation = serializers.CharField(source="task.operation")
    product = serializers.SerializerMethodField(help_text="Empty: no product was named.")
    earliest_at = ZonedDateTimeField(
        allow_null=True, help_text="Not done before this, by what was measured so far."
    )
    ends_at = ZonedDateTimeField(
        allow_null=True,
        help_text="It is done by then; a move to ready waits for it. Empty: it is halted, so the "
        "move waits until it is warm or dry enough, or a manager overrides.",
    )
    basis = serializers.ChoiceField(WaitClock.Basis.choices, help_text="What the times go by.")
    halted = serializers.ChoiceField(
        WaitClock.Halted.choices, allow_blank=True, help_text="Why it stands still, or empty."
    )
    touch_test = serializers.BooleanField(
        help_text="It ends by nothing but a touch test, whatever the times say."
    )
    closed_at = ZonedDateTimeField(allow_null=True, help_text="When somebody found it dry.")

    class Meta:
        model = WaitClock
        fields: tuple[str, ...] = (
            "id",
            "kind",
            "operation",
            "product",
            "started_at",
            "earliest_at",
            "ends_at",
            "basis",
            "halted",
            "progress_percent",
            "touch_test",
            "closed_at",
        )

    def get_product(self, clock: WaitClock) -> str:
        """Return what went on, where somebody said."""
        use = getattr(clock, "use", None)
        return use.name if use else ""


class WaitOutput(ClockOutput):
    """One clock by the air as it is now."""

    name = serializers.CharField(help_text="What the work is called.")
    running = serializers.BooleanField(help_text="The car waits for it.")
    touch_test_due = serializers.BooleanField(
        help_text="It ought to be dry by now: somebody has to feel it."
    )
    basis_words = serializers.CharField()
    halted_words = serializers.CharField(allow_blank=True)

    class Meta(ClockOutput.Meta):
        fields = (
            *ClockOutput.Meta.fields,
            "name",
            "running",
            "touch_test_due",
            "basis_words",
            "halted_words",
        )


class DoneAtOutput(serializers.Serializer[Any]):
    """When all of it is done."""

    earliest = ZonedDateTimeField(allow_null=True, help_text="Empty: something stands still.")
    latest = ZonedDateTimeField(allow_null=True, help_text="Empty: nobody can say.")


class RainOutput(serializers.Serializer[Any]):
    """The chance of rain at some time, of which a forecast by the hour gives only the bounds."""

    any_hour = serializers.FloatField(help_text="Of the worst hour.")
    least = serializers.FloatField(help_text="That of the worst hour that lies wholly in it.")
    most = serializers.FloatField(help_text="All hours added up; more than 20 is not fit.")


class OutsideOutput(serializers.Serializer[Any]):
    """When the car may safely stand outside, and what decides it."""

    at = ZonedDateTimeField(
        allow_null=True, help_text="In dry weather, from then on. Empty: nobody can say."
    )
    code = serializers.CharField()
    reason = serializers.CharField()
    keep_dry_until = ZonedDateTimeField(
        allow_null=True,
        help_text="Until then rain or frost spoils it. Empty: nobody can say.",
    )
    cured_outside_at = ZonedDateTimeField(
        allow_null=True, help_text="By when it has cured where it goes outside at that time."
    )
    rain_percent = RainOutput(
        allow_null=True, help_text="Until it has cured outside; empty where nothing cures there."
    )
    words = serializers.CharField(
        help_text="All of it in sentences, as every page has them, in the workshop's own time."
    )


class CautionOutput(serializers.Serializer[Any]):
    """What speaks against beginning a task in this air."""

    task_id = serializers.UUIDField()
    operation = serializers.CharField()
    code = serializers.ChoiceField([("near_dew_point",) * 2, ("too_cold",) * 2])
    text = serializers.CharField()


class AirNowOutput(serializers.Serializer[Any]):
    """The newest reading in the workshop; of a stuck sensor where no other is of two hours."""

    at = ZonedDateTimeField()
    age_minutes = serializers.IntegerField()
    celsius = serializers.FloatField()
    humidity_percent = serializers.FloatField(allow_null=True)
    surface_celsius = serializers.FloatField(allow_null=True)
    stuck = serializers.BooleanField(
        help_text="The sensor repeats one value: only its cold and damp count."
    )


class ForecastNowOutput(serializers.Serializer[Any]):
    """The last good forecast; an old one is not gone by."""

    issued_at = ZonedDateTimeField()
    age_minutes = serializers.IntegerField()
    old = serializers.BooleanField()


class WaitsOutput(serializers.Serializer[Any]):
    """All that a car waits for."""

    clocks = WaitOutput(many=True)
    done_at = DoneAtOutput(allow_null=True, help_text="Empty: nothing runs.")
    outside = OutsideOutput()
    cautions = CautionOutput(many=True)
    reading = AirNowOutput(allow_null=True)
    forecast = ForecastNowOutput(allow_null=True)


class ProductUseOutput(serializers.Serializer[Any]):
    """A product that went on; without a clock it need not cure."""

    id = serializers.UUIDField()
    product_id = serializers.UUIDField()
    product = serializers.CharField()
    task_id = serializers.UUIDField()
    occurred_at = ZonedDateTimeField()
    note = serializers.CharField(allow_blank=True)
    clock = ClockOutput(allow_null=True)


def waits_shown(waits: Waits) -> dict[str, Any]:
    """Return all that a car waits for as it is shown."""
    running, outside = waits.running, waits.outside
    return {
        "clocks": [_clock_shown(clock, waits.at) for clock in waits.clocks],
        "done_at": {
            "earliest": _last([one.earliest_at for one in running]),
            "latest": _last([one.done_at for one in running]),
        }
        if running
        else None,
        "outside": _outside_shown(outside),
        "cautions": [
            {
                "task_id": caution.task.pk,
                "operation": caution.task.operation,
                "code": caution.code,
                "text": caution.text,
            }
            for caution in waits.cautions
        ],
        **_known_shown(waits),
    }


def _last(moments: Sequence[datetime | None]) -> datetime | None:
    """Return the last of some moments, or None where nobody can say one of them."""
    known = [moment for moment in moments if moment is not None]
    return max(known) if len(known) == len(moments) else None


def _outside_shown(outside: Outside) -> dict[str, Any]:
    rain = outside.rain
    return {
        "at": outside.at,
        "code": str(outside.code),
        "reason": outside.reason,
        "keep_dry_until": outside.keep_dry_until,
        "cured_outside_at": outside.cured_outside_at,
        "rain_percent": rain
        and {
            "any_hour": round(rain.worst_hour_percent, 1),
            "least": round(rain.least_percent, 1),
            "most": round(rain.most_percent, 1),
        },
        "words": outside_words(outside, said),
    }


def _known_shown(waits: Waits) -> dict[str, Any]:
    """Return which reading and which forecast it goes by, with their ages."""
    reading, forecast = waits.reading, waits.forecast
    return {
        "reading": reading
        and {
            "at": reading.at,
            "age_minutes": _age(reading.at, waits.at),
            "celsius": reading.celsius,
            "humidity_percent": reading.humidity_percent,
            "surface_celsius": reading.surface_celsius,
            "stuck": reading.is_stuck,
        },
        "forecast": forecast
        and {
            "issued_at": forecast.issued_at,
            "age_minutes": _age(forecast.issued_at, waits.at),
            "old": is_stale(forecast, at=waits.at),
        },
    }


def _age(since: datetime, at: datetime) -> int:
    return max(0, (at - since) // _MINUTE)


def _clock_shown(one: ClockNow, at: datetime) -> dict[str, Any]:
    clock, estimate = one.clock, one.estimate
    latest = estimate.latest_at
    due = one.running and clock.touch_test and latest is not None and latest <= at
    basis, halted = WaitClock.Basis(estimate.basis), WaitClock.Halted(estimate.halted)
    return {
        **ClockOutput(clock).data,
        "earliest_at": estimate.earliest_at,
        "ends_at": estimate.latest_at,
        "basis": basis.value,
        "halted": halted.value,
        "progress_percent": estimate.progress_percent,
        "name": clock.task.name,
        "running": one.running,
        "touch_test_due": due,
        "basis_words": str(basis.label),
        "halted_words": halted.words(surely=estimate.earliest_at is None),
    }


def use_shown(applied: Applied) -> dict[str, Any]:
    """Return a product that went on as it is shown."""
    use = applied.use
    return {
        "id": use.pk,
        "product_id": use.product_id,
        "product": use.name,
        "task_id": use.task_id,
        "occurred_at": use.occurred_at,
        "note": use.note,
        "clock": ClockOutput(applied.clock).data if applied.clock else None,
    }
