"""The flow as pictures: a bar for each stage, and the chart of the times, as shapes to draw.

What a picture shows stands in words beside it; shape tells what colour only repeats.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from uuid import UUID

from jobs.work.calc.flow.control_chart import Rule, TimesChart
from jobs.work.calc.flow.course import Cause
from jobs.work.calc.flow.figures import SECONDS_A_MINUTE, StageFlow
from jobs.work.calc.stages.machine import Stage
from jobs.work.selectors.flow.figures import LEAST_CHARTED_SECONDS, ChartedCar
from jobs.work.words.flow import CAUSE_WORDS, signal_words

BAR_WIDTH = 100.0
GAP = 0.4
CHART_WIDTH, CHART_HEIGHT = 720.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 12.0, 92.0, 14.0, 14.0
MARK = 7.0
# One car may have fired several rules; it is drawn as the first of these.
SHAPES = (Rule.BEYOND, Rule.SHIFT)
MARK_WORDS = {Rule.BEYOND: "a diamond", Rule.SHIFT: "a square"}


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a bar, and what it says in words: minutes of the average car."""

    cause: Cause
    words: str
    minutes: int
    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Bar:
    """A stage of the average car, as wide as its time against the stage that took longest."""

    stage: Stage
    cars: int
    minutes: int
    percent: int
    waited_for: int
    pieces: Sequence[Piece]


@dataclass(frozen=True, slots=True)
class Line:
    """A level of the chart with its words at the right end."""

    name: str
    minutes: int
    y: float


@dataclass(frozen=True, slots=True)
class Point:
    """A car; `shape` is empty for one that stands out in nothing."""

    x: float
    y: float
    shape: str
    corners: str


@dataclass(frozen=True, slots=True)
class Flagged:
    """A car at which a rule fired, in words."""

    job_id: UUID
    name: str
    minutes: int
    words: str
    mark: str
    since: str


@dataclass(frozen=True, slots=True)
class Chart:
    """The chart of the times."""

    width: float
    height: float
    points: Sequence[Point]
    path: str
    lines: Sequence[Line]
    flagged: Sequence[Flagged]
    provisional: bool


def bars(flows: Sequence[StageFlow], cars: int) -> list[Bar]:
    """Return a bar for each stage in which cars spent time."""
    longest = max((flow.seconds for flow in flows), default=0)
    return [_bar(flow, cars, longest) for flow in flows if flow.seconds]


def _bar(flow: StageFlow, cars: int, longest: int) -> Bar:
    pieces, x = [], 0.0
    for cause, seconds in flow.causes.items():
        if seconds:
            width = BAR_WIDTH * seconds / longest
            shown = max(width - GAP, GAP)
            pieces.append(Piece(cause, CAUSE_WORDS[cause], _minutes(seconds / cars), x, shown))
            x += width
    return Bar(
        stage=flow.stage,
        cars=flow.cars,
        minutes=_minutes(flow.seconds / cars),
        percent=round(100 * flow.share),
        waited_for=_minutes(flow.waited_for / cars),
        pieces=pieces,
    )


def chart(cars: Sequence[ChartedCar], limits: TimesChart | None) -> Chart | None:
    """Return the chart of the cars' times, the earliest at the left; None where there are none.

    Heights are logarithms, as the limits are made.
    """
    if not cars:
        return None
    times = [max(car.lead_seconds, LEAST_CHARTED_SECONDS) for car in cars]
    levels = [limits.lower, limits.centre, limits.upper] if limits else []
    low, high = log(min([*times, *levels])), log(max([*times, *levels]))
    room = CHART_HEIGHT - TOP - BOTTOM
    step = (CHART_WIDTH - LEFT - RIGHT) / max(len(times) - 1, 1)

    def height(seconds: float) -> float:
        share = (log(seconds) - low) / (high - low) if high > low else 0.5
        return round(TOP + room * (1 - share), 1)

    rules = _rules(limits)
    spots = [
        (round(LEFT + step * place, 1), height(seconds)) for place, seconds in enumerate(times)
    ]
    names = ("quick limit", "centre", "slow limit")
    return Chart(
        width=CHART_WIDTH,
        height=CHART_HEIGHT,
        points=[_point(x, y, rules.get(place)) for place, (x, y) in enumerate(spots)],
        path=" ".join(f"{x},{y}" for x, y in spots),
        lines=[
            Line(name, _minutes(level), height(level))
            for name, level in zip(names, levels, strict=False)
        ],
        flagged=_flagged(cars, limits),
        provisional=limits is not None and limits.provisional,
    )


def _rules(limits: TimesChart | None) -> dict[int, Rule]:
    """Return, by place, the rule that a car is drawn for."""
    found: dict[int, Rule] = {}
    for signal in limits.signals if limits else ():
        known = found.get(signal.at)
        if known is None or SHAPES.index(signal.rule) < SHAPES.index(known):
            found[signal.at] = signal.rule
    return found


def _point(x: float, y: float, rule: Rule | None) -> Point:
    if rule is None:
        return Point(x, y, "", "")
    half = MARK - 1
    corners = {
        Rule.BEYOND: ((0, -MARK), (MARK, 0), (0, MARK), (-MARK, 0)),
        Rule.SHIFT: ((-half, -half), (half, -half), (half, half), (-half, half)),
    }[rule]
    return Point(x, y, rule.value, " ".join(f"{x + a:.1f},{y + b:.1f}" for a, b in corners))


def _flagged(cars: Sequence[ChartedCar], limits: TimesChart | None) -> list[Flagged]:
    """Return the signals, the latest car first."""
    drawn = _rules(limits)
    return [
        Flagged(
            job_id=cars[signal.at].job_id,
            name=cars[signal.at].name,
            minutes=_minutes(cars[signal.at].lead_seconds),
            words=signal_words(signal),
            mark=MARK_WORDS[drawn[signal.at]],
            since=cars[signal.begins].name if signal.rule is Rule.SHIFT else "",
        )
        for signal in sorted(limits.signals if limits else (), key=lambda signal: -signal.at)
    ]


def _minutes(seconds: float) -> int:
    return round(seconds / SECONDS_A_MINUTE)
