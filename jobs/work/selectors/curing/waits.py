"""What a car waits for, in full: every clock by the air as it is now, and when it may go out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from accounts.caller import Caller
from jobs.work.calc.air.climate import Caution, coating_cautions
from jobs.work.calc.air.doubts import REPEATED
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.coats import PAINTED
from jobs.work.calc.curing.cure import Basis, Estimate, Halted, Reading
from jobs.work.calc.curing.outside import Outside, RunningClock, earliest_outside
from jobs.work.models import ClimateReading, Forecast, Job, Product, Task, WaitClock
from jobs.work.models.air import Place
from jobs.work.selectors.air import READING_HOLDS, forecast_hours, forecast_of, last_word
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.curing.clocks import (
    LAST_TO_END,
    cure_of,
    estimate_of,
    is_running,
    readings_of,
)
from jobs.work.selectors.jobs.jobs import job_named

# Colder than this hardly anything goes on well. Common practice, no source; a sheet outranks it.
USUAL_LOWEST_CELSIUS = 10.0
TOO_COLD = "too_cold"
NEVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class ClockNow:
    """One clock as it stands at an instant; one that is over keeps what it was worked out with."""

    clock: WaitClock
    estimate: Estimate
    running: bool

    @property
    def done_at(self) -> datetime | None:
        """Return when it is done at the latest, or was; None where nobody can say."""
        return self.clock.closed_at or self.estimate.latest_at

    @property
    def earliest_at(self) -> datetime | None:
        """Return before when it is not done, or when it was; None where nothing says that."""
        return self.clock.closed_at or self.estimate.earliest_at


@dataclass(frozen=True, slots=True)
class CoatingCaution:
    """What speaks against a task before it begins, or before the next coat of it."""

    task: Task
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Waits:
    """All that a car waits for, when it may go outside, and what that was worked out from."""

    at: datetime
    clocks: Sequence[ClockNow]
    outside: Outside
    cautions: Sequence[CoatingCaution]
    reading: ClimateReading | None
    forecast: Forecast | None

    @property
    def running(self) -> list[ClockNow]:
        """Return what is not over."""
        return [clock for clock in self.clocks if clock.running]


def waits_of(caller: Caller, job_id: UUID, at: datetime) -> Waits:
    """Return what one of the caller's cars waits for. Raises NotFound.

    Eight queries, or nine where the newest reading is of a stuck sensor.
    """
    job = job_named(caller, job_id)
    rows = WaitClock.objects.filter(job=job).select_related("task", "use")
    clocks = list(rows.order_by(LAST_TO_END, "pk"))
    running = [clock for clock in clocks if is_running(clock, at)]
    readings = readings_of(job.workshop_id, running)
    shown = [_now(clock, readings, at, running=clock in running) for clock in clocks]
    latest, forecast = (
        last_word(job.workshop_id, Place.WORKSHOP, at=at),
        forecast_of(job.workshop_id),
    )
    fresh = latest if latest is not None and at - latest.at <= READING_HOLDS else None
    return Waits(
        at=at,
        clocks=sorted(
            shown, key=lambda wait: (not wait.running, wait.done_at or NEVER, wait.clock.pk)
        ),
        outside=_outside([wait for wait in shown if wait.running], forecast, at),
        cautions=_cautions(job, fresh) if fresh is not None else [],
        reading=latest,
        forecast=forecast,
    )


def _now(clock: WaitClock, readings: Sequence[Reading], at: datetime, *, running: bool) -> ClockNow:
    estimate = estimate_of(clock, readings, at=at) if running else None
    kept = Estimate(
        clock.earliest_at or clock.ends_at,
        clock.ends_at,
        clock.progress_percent,
        Basis(clock.basis),
        Halted(clock.halted),
    )
    return ClockNow(clock, estimate or kept, running)


def outside_of(clocks: Sequence[WaitClock], forecast: Forecast | None, at: datetime) -> Outside:
    """Return when a car may go outside by clocks at hand as last worked out, with their use."""
    return _outside([_now(clock, (), at, running=False) for clock in clocks], forecast, at)


def _outside(clocks: Sequence[ClockNow], forecast: Forecast | None, at: datetime) -> Outside:
    return earliest_outside(
        [_to_wait_for(clock) for clock in clocks],
        forecast_hours(forecast),
        at=at,
        forecast_issued_at=forecast.issued_at if forecast else None,
    )


def _to_wait_for(wait: ClockNow) -> RunningClock:
    """Return a clock as the sums about the weather take it; only what cures may go on outside."""
    clock = wait.clock
    cures = clock.kind == WaitClock.Kind.CURE and clock.reference_minutes is not None
    use = getattr(clock, "use", None)
    return RunningClock(
        kind=clock.kind,
        cure=cure_of(clock) if cures else None,
        estimate=wait.estimate,
        progress_percent=wait.estimate.progress_percent,
        touch_test=clock.touch_test,
        name=use.name if use else clock.task.name,
    )


def _cautions(job: Job, air: ClimateReading) -> list[CoatingCaution]:
    """Return what speaks against the work that is left and that cures, by the newest reading."""
    left = (Task.State.WANTED, Task.State.STARTED)
    tasks = list(Task.objects.filter(job=job, state__in=left).order_by("pk"))
    catalogue = catalogue_of(job.workshop_id) if tasks else None
    products = list(Product.objects.filter(workshop_id=job.workshop_id, hidden=False))
    cautions = []
    for task in tasks:
        if catalogue is not None and is_coating(task, catalogue):
            cautions += cautions_before(task, products, air)
    return cautions


def is_coating(task: Task, catalogue: Catalogue) -> bool:
    """Return whether a task leaves something to cure, or takes coats."""
    operation = catalogue.operations.get(task.operation)
    return task.operation in PAINTED or (operation is not None and operation.waits == "cure")


def cautions_before(
    task: Task, products: Sequence[Product], air: ClimateReading
) -> list[CoatingCaution]:
    """Return what speaks against a task that leaves something to cure, by a reading of the air.

    Of `products` those count that are used in just this operation; where there are none, what is
    usual does.
    """
    own = [product for product in products if product.operation == task.operation]
    cautions = [caution for product in own or (None,) for caution in _against(task, product, air)]
    return list(dict.fromkeys(cautions))


def _against(task: Task, product: Product | None, air: ClimateReading) -> list[CoatingCaution]:
    lowest = product.apply_from_celsius if product else USUAL_LOWEST_CELSIUS
    found = coating_cautions(
        air_celsius=air.celsius,
        humidity_percent=air.humidity_percent,
        surface_celsius=air.surface_celsius,
        apply_from_celsius=lowest,
    )
    return [
        CoatingCaution(task, caution.code, _in_words(caution, product, air)) for caution in found
    ]


def _in_words(caution: Caution, product: Product | None, air: ClimateReading) -> str:
    """Return a caution with the product it is of, and whether a stuck sensor has it."""
    of_product = f"{product}: " if product and caution.code == TOO_COLD else ""
    return f"{of_product}{caution.text}{f' {REPEATED}' if air.is_stuck else ''}"
