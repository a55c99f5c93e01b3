"""Examples of the flow for the OpenAPI document, worked out by the sums themselves."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from core.spreadsheet import csv_text
from jobs.work.answers.flow import shown
from jobs.work.answers.flow.outputs import FlowOutput
from jobs.work.answers.flow.sheet import HEADER
from jobs.work.calc.flow.control_chart import times_chart
from jobs.work.calc.flow.course import CarTimes, Cause, Delay, Entry, Split, split
from jobs.work.calc.flow.figures import edges_of, limiting, little, load_of, stage_flows, total_of
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.tasks.worktime import Span
from jobs.work.selectors.flow.figures import ChartedCar, FlowAsked, FlowFigures, Group

_DEALER = UUID("01951a2b-3c4d-7e5f-8a6b-7c8d9e0f3000")
_START = datetime(2027, 3, 1, tzinfo=UTC)
_END = _START + timedelta(days=7)
_CARS = 20


def _car(number: int) -> tuple[datetime, datetime, Split]:
    """Return a car that was cleaned, waited for a part and was ready after some hours."""
    arrived = _START + timedelta(hours=8 * number + 1)

    def after(hours: float) -> datetime:
        return arrived + timedelta(hours=hours)

    slow = 14.0 if number == _CARS - 3 else number % 3
    ready = after(5 + slow)
    times = CarTimes(
        moves=(Entry(Stage.CLEANING, after(1)), Entry(Stage.READY, ready)),
        holds=(Delay(Cause.PARTS, Span(after(3), after(3 + slow))),),
        spells=(Span(after(1.5), after(3)), Span(after(3 + slow), after(4.5 + slow))),
    )
    return arrived, ready, split(times, arrived_at=arrived, ready_at=ready)


def _figures() -> FlowFigures:
    cars = [_car(number) for number in range(_CARS)]
    totals = total_of(found for *_, found in cars)
    stages = stage_flows(totals, period_seconds=(_END - _START).total_seconds())
    leads = [found.lead_seconds for *_, found in cars]
    edges = edges_of(((came, ready) for came, ready, _ in cars), start=_START, end=_END)
    return FlowFigures(
        asked=FlowAsked(date(2027, 3, 1), date(2027, 3, 7)),
        start=_START,
        end=_END,
        groups=[Group(_DEALER, "Brackmoor Cars", "retail", totals, leads, 15, 12, 1)],
        totals=totals,
        stages=stages,
        limit=limiting(stages),
        load=load_of(totals, minutes_there=5 * 960, longest_day_minutes=960),
        edges=edges,
        law=little(
            period_seconds=(_END - _START).total_seconds(),
            finished=totals.cars,
            lead_seconds=totals.lead_seconds,
            edges=edges,
        ),
        points=[
            ChartedCar(_id(number), f"TU21 {number:03}", f"PX-{number}", ready, found.lead_seconds)
            for number, (_, ready, found) in enumerate(cars)
        ],
        chart=times_chart(leads, least=60),
        cars_before=0,
        now={(Stage.CLEANING, Cause.WORKING): 2, (Stage.CLEANING, Cause.PARTS): 1},
    )


def flow() -> FlowOutput:
    """Return the figures of these cars."""
    return shown.flow(_figures())


def _id(number: int) -> UUID:
    return UUID(f"01951a2b-3c4d-7e5f-8a6b-{0x7C8D9E0F4000 + number:012x}")


def _sheet() -> str:
    facts = [
        _id(1), "TU21 ABC", "", "PX-1042", "Brackmoor Cars", "retail",
        "2027-03-01T09:00:00+00:00", "2027-03-01T14:00:00+00:00", "", "", 0, 300.0, 180.0,
    ]  # fmt: skip
    minutes = {"cleaning_working_minutes": 180.0, "cleaning_nobody_on_it_minutes": 60.0}
    minutes |= {"intake_nobody_on_it_minutes": 60.0, "for_cleaning_minutes": 90.0}
    minutes |= {"for_ready_minutes": 30.0}
    return csv_text([HEADER, [*facts, *(minutes.get(name, 0.0) for name in HEADER[len(facts) :])]])


SHEET = _sheet()
