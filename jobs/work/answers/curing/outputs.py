"""What callers see of what cures and dries on a car."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Any
from uuid import UUID

from rest_framework import serializers

from core.api.answers import Answer
from core.templatetags.look import said
from jobs.work.calc.curing.forecast_fit import Fit
from jobs.work.calc.curing.outside import Outside
from jobs.work.calc.curing.outside_words import outside_words
from jobs.work.models import ClimateReading, Forecast, WaitClock
from jobs.work.selectors.air import is_stale
from jobs.work.selectors.curing.waits import ClockNow, Waits
from jobs.work.services.products import Applied

_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockOutput(Answer):
    """Something that cures or dries, as it was last worked out."""

    id: UUID
    kind: Annotated[str, serializers.ChoiceField(WaitClock.Kind.choices)]
    operation: str
    product: Annotated[str, "Empty: no product was named."]
    started_at: datetime
    earliest_at: Annotated[datetime | None, "Not done before this, by what was measured so far."]
    ends_at: Annotated[
        datetime | None,
        "It is done by then; a move to ready waits for it. Empty: it is halted, so the "
        "move waits until it is warm or dry enough, or a manager overrides.",
    ]
    basis: Annotated[
        str, serializers.ChoiceField(WaitClock.Basis.choices, help_text="What the times go by.")
    ]
    halted: Annotated[
        str,
        serializers.ChoiceField(
            WaitClock.Halted.choices, allow_blank=True, help_text="Why it stands still, or empty."
        ),
    ]
    progress_percent: Annotated[int, "Done at least so far, when last worked out."]
    touch_test: Annotated[bool, "It ends by nothing but a touch test, whatever the times say."]
    closed_at: Annotated[datetime | None, "When somebody found it dry."]


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitOutput(ClockOutput):
    """One clock by the air as it is now."""

    name: Annotated[str, "What the work is called."]
    running: Annotated[bool, "The car waits for it."]
    touch_test_due: Annotated[bool, "It ought to be dry by now: somebody has to feel it."]
    basis_words: str
    halted_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneAtOutput(Answer):
    """When all of it is done."""

    earliest: Annotated[datetime | None, "Empty: something stands still."]
    latest: Annotated[datetime | None, "Empty: nobody can say."]


@dataclass(frozen=True, slots=True, kw_only=True)
class RainOutput(Answer):
    """The chance of rain at some time, of which a forecast by the hour gives only the bounds."""

    any_hour: Annotated[float, "Of the worst hour."]
    least: Annotated[float, "That of the worst hour that lies wholly in it."]
    most: Annotated[float, "All hours added up; more than 20 is not fit."]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideOutput(Answer):
    """When the car may safely stand outside, and what decides it."""

    at: Annotated[datetime | None, "In dry weather, from then on. Empty: nobody can say."]
    code: str
    reason: str
    keep_dry_until: Annotated[
        datetime | None, "Until then rain or frost spoils it. Empty: nobody can say."
    ]
    cured_outside_at: Annotated[
        datetime | None, "By when it has cured where it goes outside at that time."
    ]
    rain_percent: Annotated[
        RainOutput | None, "Until it has cured outside; empty where nothing cures there."
    ]
    words: Annotated[
        str, "All of it in sentences, as every page has them, in the workshop's own time."
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionOutput(Answer):
    """What speaks against beginning a task in this air."""

    task_id: UUID
    operation: str
    code: Annotated[str, serializers.ChoiceField([("near_dew_point",) * 2, ("too_cold",) * 2])]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AirNowOutput(Answer):
    """The newest reading in the workshop; of a stuck sensor where no other is of two hours."""

    at: datetime
    age_minutes: int
    celsius: float
    humidity_percent: float | None
    surface_celsius: float | None
    stuck: Annotated[bool, "The sensor repeats one value: only its cold and damp count."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastNowOutput(Answer):
    """The last good forecast; an old one is not gone by."""

    issued_at: datetime
    age_minutes: int
    old: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitsOutput(Answer):
    """All that a car waits for."""

    clocks: Sequence[WaitOutput]
    done_at: Annotated[DoneAtOutput | None, "Empty: nothing runs."]
    outside: OutsideOutput
    cautions: Sequence[CautionOutput]
    reading: AirNowOutput | None
    forecast: ForecastNowOutput | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductUseOutput(Answer):
    """A product that went on; without a clock it need not cure."""

    id: UUID
    product_id: UUID
    product: str
    task_id: UUID
    occurred_at: datetime
    note: str
    clock: ClockOutput | None


def waits_shown(waits: Waits) -> WaitsOutput:
    """Return all that a car waits for as it is shown."""
    running = waits.running
    return WaitsOutput(
        clocks=[_now_shown(clock, waits.at) for clock in waits.clocks],
        done_at=DoneAtOutput(
            earliest=_last([wait.earliest_at for wait in running]),
            latest=_last([wait.done_at for wait in running]),
        )
        if running
        else None,
        outside=_outside_shown(waits.outside),
        cautions=[
            CautionOutput(
                task_id=caution.task.pk,
                operation=caution.task.operation,
                code=caution.code,
                text=caution.text,
            )
            for caution in waits.cautions
        ],
        reading=_reading_shown(waits.reading, waits.at) if waits.reading else None,
        forecast=_forecast_shown(waits.forecast, waits.at) if waits.forecast else None,
    )


def _last(moments: Sequence[datetime | None]) -> datetime | None:
    """Return the last of some moments, or None where nobody can say one of them."""
    known = [moment for moment in moments if moment is not None]
    return max(known) if len(known) == len(moments) else None


def _outside_shown(outside: Outside) -> OutsideOutput:
    return OutsideOutput(
        at=outside.at,
        code=str(outside.code),
        reason=outside.reason,
        keep_dry_until=outside.keep_dry_until,
        cured_outside_at=outside.cured_outside_at,
        rain_percent=_rain_shown(outside.rain) if outside.rain else None,
        words=outside_words(outside, said),
    )


def _rain_shown(rain: Fit) -> RainOutput:
    return RainOutput(
        any_hour=round(rain.worst_hour_percent, 1),
        least=round(rain.least_percent, 1),
        most=round(rain.most_percent, 1),
    )


def _reading_shown(reading: ClimateReading, at: datetime) -> AirNowOutput:
    return AirNowOutput(
        at=reading.at,
        age_minutes=_age(reading.at, at),
        celsius=reading.celsius,
        humidity_percent=reading.humidity_percent,
        surface_celsius=reading.surface_celsius,
        stuck=reading.is_stuck,
    )


def _forecast_shown(forecast: Forecast, at: datetime) -> ForecastNowOutput:
    return ForecastNowOutput(
        issued_at=forecast.issued_at,
        age_minutes=_age(forecast.issued_at, at),
        old=is_stale(forecast, at=at),
    )


def _age(since: datetime, at: datetime) -> int:
    return max(0, (at - since) // _MINUTE)


def _facts(clock: WaitClock) -> dict[str, Any]:
    """Return the fields of ClockOutput."""
    use = getattr(clock, "use", None)
    return {
        "id": clock.pk,
        "kind": clock.kind,
        "operation": clock.task.operation,
        "product": use.name if use else "",
        "started_at": clock.started_at,
        "earliest_at": clock.earliest_at,
        "ends_at": clock.ends_at,
        "basis": clock.basis,
        "halted": clock.halted,
        "progress_percent": clock.progress_percent,
        "touch_test": clock.touch_test,
        "closed_at": clock.closed_at,
    }


def clock_shown(clock: WaitClock) -> ClockOutput:
    """Return a clock as it was last worked out."""
    return ClockOutput(**_facts(clock))


def _now_shown(wait: ClockNow, at: datetime) -> WaitOutput:
    clock, estimate = wait.clock, wait.estimate
    latest = estimate.latest_at
    due = wait.running and clock.touch_test and latest is not None and latest <= at
    basis, halted = WaitClock.Basis(estimate.basis), WaitClock.Halted(estimate.halted)
    facts = _facts(clock) | {
        "earliest_at": estimate.earliest_at,
        "ends_at": estimate.latest_at,
        "basis": basis,
        "halted": halted,
        "progress_percent": estimate.progress_percent,
    }
    return WaitOutput(
        **facts,
        name=clock.task.name,
        running=wait.running,
        touch_test_due=due,
        basis_words=str(basis.label),
        halted_words=halted.words(surely=estimate.earliest_at is None),
    )


def use_shown(applied: Applied) -> ProductUseOutput:
    """Return a product that went on as it is shown."""
    use = applied.use
    return ProductUseOutput(
        id=use.pk,
        product_id=use.product_id,
        product=use.name,
        task_id=use.task_id,
        occurred_at=use.occurred_at,
        note=use.note,
        clock=clock_shown(applied.clock) if applied.clock else None,
    )
