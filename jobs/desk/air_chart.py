"""The last day of a workshop's air: as lines in a box, and hour by hour in a table beside them.

The box is stretched to the width there is, so it holds no words; the page writes them around it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil, floor
from statistics import fmean

from jobs.work.models import ClimateReading
from jobs.work.models.air import Place

DAY = timedelta(hours=24)
HOUR = timedelta(hours=1)
SLOT = timedelta(minutes=10)  # readings closer together are drawn as their mean
GAP = timedelta(hours=2)  # no line where the sums know of no measured air either (calc.cure)
WIDTH, HEIGHT = 1000, 200
FREEZING = 0
LEAST_SPAN = 6  # so that a steady day is a steady line

Mark = ClimateReading.Mark
MARK_WORDS = {
    Mark.LATE: "came late",
    Mark.STUCK: "repeated: only cold and damp count",
}
Points = list[tuple[datetime, float]]


@dataclass(frozen=True, slots=True)
class Line:
    """What one place measured, as a path; `dots` stand alone, `stuck` are what a sensor repeats."""

    place: str
    path: str
    dots: str
    stuck: str


@dataclass(frozen=True, slots=True)
class Chart:
    """One quantity over the last 24 hours: its lines, and what the top and the bottom stand for."""

    title: str
    unit: str
    top: int
    bottom: int
    lines: Sequence[Line]
    freezing_y: int | None

    @property
    def middle(self) -> float:
        """Return the value half way up."""
        half = (self.top + self.bottom) / 2
        return int(half) if half.is_integer() else half


@dataclass(frozen=True, slots=True)
class Marked:
    """Readings of one sensor in one hour that are doubtful, and why."""

    sensor: str
    words: str
    count: int


@dataclass(frozen=True, slots=True)
class Cell:
    """One hour at one place: the means of what was measured, and what was doubtful."""

    celsius: float | None
    humidity: float | None
    marked: Sequence[Marked]


@dataclass(frozen=True, slots=True)
class HourRow:
    """One hour: a cell for each place, in the order of the places."""

    begins_at: datetime
    cells: Sequence[Cell]


def charts(readings: Sequence[ClimateReading], at: datetime) -> list[Chart]:
    """Return temperature and humidity of the day before `at`; without readings, nothing."""
    wet = [reading for reading in readings if reading.humidity_percent is not None]
    found = [
        _chart("Temperature", "°C", [(reading, reading.celsius) for reading in readings], at),
        _chart(
            "Humidity", "%", [(reading, reading.humidity_percent or 0.0) for reading in wet], at
        ),
    ]
    return [chart for chart in found if chart is not None]


def _chart(
    title: str, unit: str, values: Sequence[tuple[ClimateReading, float]], at: datetime
) -> Chart | None:
    if not values:
        return None
    scale = _scale([value for _, value in values], at, highest=100 if unit == "%" else None)
    lines = []
    for place in Place.values:
        there = [(reading, value) for reading, value in values if reading.place == place]
        if there:
            used = _slots(
                (reading.at, value) for reading, value in there if reading.mark != Mark.STUCK
            )
            stuck = _slots(
                (reading.at, value) for reading, value in there if reading.mark == Mark.STUCK
            )
            runs = _runs(used)
            lines.append(
                Line(
                    place,
                    "".join(f"M{'L'.join(scale.places(run))}" for run in runs if len(run) > 1),
                    scale.dots([run[0] for run in runs if len(run) == 1]),
                    scale.dots(stuck),
                )
            )
    freezes = unit == "°C" and scale.bottom < FREEZING < scale.top
    freezing = scale.y(FREEZING) if freezes else None
    return Chart(title, unit, scale.top, scale.bottom, lines, freezing)


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where in the box a value at a time lies; the box ends at `at`."""

    bottom: int
    top: int
    at: datetime

    def x(self, moment: datetime) -> int:
        return round(WIDTH * (1 - (self.at - moment) / DAY))

    def y(self, value: float) -> int:
        return round(HEIGHT * (self.top - value) / (self.top - self.bottom))

    def places(self, points: Points) -> list[str]:
        return [f"{self.x(moment)} {self.y(value)}" for moment, value in points]

    def dots(self, points: Points) -> str:
        """Return lines of no length, which round ends make into dots."""
        return "".join(f"M{place}h0" for place in self.places(points))


def _scale(values: Sequence[float], at: datetime, *, highest: int | None) -> _Scale:
    """Return a scale that leaves room below and above all values, and LEAST_SPAN at least."""
    bottom, top = floor(min(values)) - 1, ceil(max(values)) + 1
    while top - bottom < LEAST_SPAN:
        bottom, top = bottom - 1, top + 1
    if highest is not None and top > highest:
        top = highest
        bottom = min(bottom, top - LEAST_SPAN)
    return _Scale(bottom, top, at)


def _slots(values: Iterable[tuple[datetime, float]]) -> Points:
    """Return the values in order of time, those of ten minutes as their mean."""
    slots: dict[int, Points] = defaultdict(list)
    for moment, value in values:
        slots[int(moment.timestamp() // SLOT.total_seconds())].append((moment, value))
    return [
        (min(moment for moment, _ in slot), fmean(value for _, value in slot))
        for _, slot in sorted(slots.items())
    ]


def _runs(points: Points) -> list[Points]:
    """Return the points in runs, broken where nobody measured for too long."""
    runs: list[Points] = []
    for moment, value in points:
        if runs and moment - runs[-1][-1][0] <= GAP:
            runs[-1].append((moment, value))
        else:
            runs.append([(moment, value)])
    return runs


def hours(readings: Sequence[ClimateReading], at: datetime) -> list[HourRow]:
    """Return the hours of the day before `at` in which something was measured, newest first."""
    by_hour: dict[datetime, list[ClimateReading]] = defaultdict(list)
    for reading in readings:
        if at - DAY <= reading.at:
            by_hour[reading.at.replace(minute=0, second=0, microsecond=0)].append(reading)
    return [_hour(begins, by_hour[begins]) for begins in sorted(by_hour, reverse=True)]


def _hour(begins: datetime, readings: Sequence[ClimateReading]) -> HourRow:
    return HourRow(
        begins,
        [
            _cell([reading for reading in readings if reading.place == place])
            for place in Place.values
        ],
    )


def _cell(readings: Sequence[ClimateReading]) -> Cell:
    used = [reading for reading in readings if reading.mark != Mark.STUCK]
    wet = [reading.humidity_percent for reading in used if reading.humidity_percent is not None]
    doubtful = Counter(
        (reading.sensor, MARK_WORDS[Mark(reading.mark)]) for reading in readings if reading.mark
    )
    return Cell(
        celsius=fmean(reading.celsius for reading in used) if used else None,
        humidity=fmean(wet) if wet else None,
        marked=[Marked(*key, count) for key, count in sorted(doubtful.items())],
    )
