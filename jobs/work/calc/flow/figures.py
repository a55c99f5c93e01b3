"""What many cars' times say together: figures of each stage, shares, quantiles, Little's law."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import floor

from jobs.work.calc.flow.course import CAUSES, STAGES, Cause, Part, Split
from jobs.work.calc.instants import to_utc
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.queueing import FULL_LOAD, Queue, queue
from jobs.work.calc.tasks.worktime import Span

SECONDS_A_MINUTE = 60
# Our own choices: below the first a P80 is one or two cars, and is said to be.
FEW_CARS = 10
MORE_CARS = 1.1
# From this many minutes of work on its longest day a workshop is taken to have one more person.
PERSON_DAY_MINUTES = 480
NEEDS_PEOPLE = (Stage.CLEANING, Stage.CORRECTION, Stage.CURING, Stage.READY)


@dataclass(frozen=True, slots=True)
class Totals:
    """The times of some finished cars added up, in seconds; `visits` counts cars by stage."""

    cars: int = 0
    lead_seconds: int = 0
    person_seconds: int = 0
    parts: Mapping[Part, int] = field(default_factory=dict)
    waited_for: Mapping[Stage, int] = field(default_factory=dict)
    visits: Mapping[Stage, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StageFlow:
    """One stage of the cars finished in a period.

    `share` is of all their time. `inside` is the mean number of cars that stood in it at once (L),
    `busy` the mean number being worked on, `time` the mean seconds of a car that came by (W), and
    `rate` cars a second.
    """

    stage: Stage
    cars: int
    seconds: int
    share: float
    causes: Mapping[Cause, int]
    waited_for: int
    inside: float
    busy: float
    time: float
    rate: float

    @property
    def waiting(self) -> int:
        """Return the seconds in it that nobody worked."""
        return self.seconds - self.causes[Cause.WORKING]

    @property
    def of_people(self) -> int:
        """Return the seconds that hang on the people of this stage: worked, and waited for them."""
        return self.causes[Cause.WORKING] + self.waited_for


@dataclass(frozen=True, slots=True)
class Quantiles:
    """How long cars took, in seconds: half no longer than `p50`, four in five than `p80`."""

    cars: int
    p50: int
    p80: int

    @property
    def few(self) -> bool:
        """Return whether there are too few cars to lean on."""
        return self.cars < FEW_CARS


@dataclass(frozen=True, slots=True)
class Edges:
    """Cars that a period cuts: how many were inside at its start and at its end.

    `before_seconds`: of cars that became ready in it, before it began. `unfinished_seconds`: of
    cars not ready by its end, within it.
    """

    inside_at_start: int = 0
    inside_at_end: int = 0
    before_seconds: float = 0.0
    unfinished_seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Little:
    """Little's law over a period (Little, 1961): mean number inside = rate out x mean time.

    `inside` is counted from arrivals and departures. Over a finite period the two sides differ by
    exactly what cars finished in it had spent before it began (`before`, mean cars), and what
    cars not finished by its end spent within it (`unfinished`): inside = rate x time - before +
    unfinished.
    """

    inside: float
    rate: float
    time: float
    before: float
    unfinished: float

    @property
    def by_law(self) -> float:
        """Return the rate times the mean time."""
        return self.rate * self.time

    @property
    def difference(self) -> float:
        """Return by how many cars the count is more than the law says."""
        return self.inside - self.by_law


@dataclass(frozen=True, slots=True)
class Load:
    """How much of the time that people had was worked, and what that means for waiting.

    `share` is person-minutes worked over minutes there were. `now` and `busier` (a tenth more cars)
    are queues in minutes of opening time; None from FULL_LOAD on, where waiting grows without end.
    """

    share: float
    people: int
    now: Queue | None
    busier: Queue | None


def total_of(splits: Iterable[Split]) -> Totals:
    """Add up the times of some cars."""
    parts: Counter[Part] = Counter()
    waited_for: Counter[Stage] = Counter()
    visits: Counter[Stage] = Counter()
    cars = lead_seconds = person_seconds = 0
    for split in splits:
        cars += 1
        lead_seconds += split.lead_seconds
        person_seconds += split.person_seconds
        parts.update(split.parts)
        waited_for.update(split.waited_for)
        visits.update({stage for stage, _ in split.parts})
    return Totals(cars, lead_seconds, person_seconds, parts, waited_for, visits)


def total_of_many(totals: Iterable[Totals]) -> Totals:
    """Add up the totals of different cars."""
    known = list(totals)
    parts: Counter[Part] = Counter()
    waited_for: Counter[Stage] = Counter()
    visits: Counter[Stage] = Counter()
    for total in known:
        parts.update(total.parts)
        waited_for.update(total.waited_for)
        visits.update(total.visits)
    return Totals(
        cars=sum(total.cars for total in known),
        lead_seconds=sum(total.lead_seconds for total in known),
        person_seconds=sum(total.person_seconds for total in known),
        parts=parts,
        waited_for=waited_for,
        visits=visits,
    )


def stage_flows(totals: Totals, *, period_seconds: float) -> list[StageFlow]:
    """Return the figures of every stage, in the order of the way."""
    flows = []
    for stage in STAGES:
        causes = {cause: totals.parts.get((stage, cause), 0) for cause in CAUSES}
        seconds, cars = sum(causes.values()), totals.visits.get(stage, 0)
        flows.append(
            StageFlow(
                stage=stage,
                cars=cars,
                seconds=seconds,
                share=_over(seconds, totals.lead_seconds),
                causes=causes,
                waited_for=totals.waited_for.get(stage, 0),
                inside=_over(seconds, period_seconds),
                busy=_over(causes[Cause.WORKING], period_seconds),
                time=_over(seconds, cars),
                rate=_over(cars, period_seconds),
            )
        )
    return flows


def limiting(flows: Sequence[StageFlow]) -> StageFlow | None:
    """Return the stage that limits the workshop; None where no time was recorded.

    It is the one whose people the cars spent most time with: worked on there, or waiting for
    somebody to begin there (of `ready`: to look the car over and release it).
    """
    known = [flow for flow in flows if flow.stage in NEEDS_PEOPLE]
    most = max(known, key=lambda flow: flow.of_people, default=None)
    return most if most is not None and most.of_people else None


def quantiles(lead_seconds: Sequence[int]) -> Quantiles | None:
    """Return P50 and P80 by the nearest rank; None where there is no car.

    The nearest rank is the time of a car that there was: at least that share took no longer.
    """
    if not len(lead_seconds):
        return None
    ordered = sorted(lead_seconds)
    half, most = ((len(ordered) * percent + 99) // 100 - 1 for percent in (50, 80))
    return Quantiles(len(ordered), int(ordered[half]), int(ordered[most]))


def edges_of(
    stays: Iterable[tuple[datetime, datetime | None]], *, start: datetime, end: datetime
) -> Edges:
    """Return what a period cuts off; `stays` are arrival and ready (None: not yet) of each car.

    Only stays that reach over the start or the end of the period matter; others change nothing.
    Raises ValueError for a time without a time zone.
    """
    inside_at_start = inside_at_end = 0
    before = unfinished = 0.0
    period = Span(start, end)
    for arrived_at, ready_at in stays:
        arrived, ready = to_utc(arrived_at), None if ready_at is None else to_utc(ready_at)
        goes_on = ready is None or ready >= period.end
        if arrived < period.start and (ready is None or ready >= period.start):
            inside_at_start += 1
            before += 0.0 if goes_on else Span(arrived, period.start).seconds
        if goes_on and arrived < period.end:
            inside_at_end += 1
            unfinished += Span(max(arrived, period.start), period.end).seconds
    return Edges(inside_at_start, inside_at_end, before, unfinished)


def little(*, period_seconds: float, finished: int, lead_seconds: float, edges: Edges) -> Little:
    """Return Little's law over a period, in which `finished` cars became ready.

    They took `lead_seconds` in all, from their arrival, which may lie before the period. Raises
    ValueError for a period without length.
    """
    if period_seconds <= 0:
        raise ValueError("A period must have a length.")
    within = lead_seconds - edges.before_seconds + edges.unfinished_seconds
    return Little(
        inside=within / period_seconds,
        rate=finished / period_seconds,
        time=_over(lead_seconds, finished),
        before=edges.before_seconds / period_seconds,
        unfinished=edges.unfinished_seconds / period_seconds,
    )


def load_of(totals: Totals, *, minutes_there: int, longest_day_minutes: int) -> Load | None:
    """Return the load of the people; None where no minutes of work were set, or none were worked.

    `minutes_there`: of all people together over the period. How many people that is, is taken from
    the longest day of the week, eight hours each (common practice, no source).
    """
    worked = totals.person_seconds / SECONDS_A_MINUTE
    if minutes_there <= 0 or longest_day_minutes <= 0 or worked <= 0:
        return None
    people = max(1, floor(longest_day_minutes / PERSON_DAY_MINUTES + 0.5))
    share, services = worked / minutes_there, totals.cars / worked
    return Load(
        share=share,
        people=people,
        now=_queue(share, services, people),
        busier=_queue(share * MORE_CARS, services, people),
    )


def _queue(share: float, services: float, people: int) -> Queue | None:
    if share >= FULL_LOAD:
        return None
    return queue(arrivals=share * services * people, services=services, people=people)


def _over(part: float, whole: float) -> float:
    return part / whole if whole else 0.0
