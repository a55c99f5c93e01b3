"""What the sums do with odd input is what their docstrings say: which errors, and which values."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from jobs.work.calc import coats as refinishing
from jobs.work.calc import hours as due_load
from jobs.work.calc import instants
from jobs.work.calc.air import climate, forecasts
from jobs.work.calc.air import doubts as air_marks
from jobs.work.calc.air import series as air_series
from jobs.work.calc.air.series import AirState, Reading
from jobs.work.calc.curing import cure, drying, forecast_fit, outside
from jobs.work.calc.flow import control_chart
from jobs.work.calc.flow import course as flow
from jobs.work.calc.flow import figures as flow_figures
from jobs.work.calc.minutes import doubt as minutes_doubt
from jobs.work.calc.minutes import durations
from jobs.work.calc.paint import pads
from jobs.work.calc.paint import statistics as paint_statistics
from jobs.work.calc.paint.survey import FilmClass, Material, Spot
from jobs.work.calc.stages import next_step
from jobs.work.calc.stages.machine import Stage, State
from jobs.work.calc.statistics import log_normal, pooling, queueing, shrinkage
from jobs.work.calc.tasks import sharing, worktime
from jobs.work.drawings import car_picker, car_plan

ZONED = datetime(2027, 3, 1, 9, 0, tzinfo=UTC)
NAIVE = datetime(2027, 3, 1, 9, 0)  # noqa: DTZ001  what this is about
CURE, DRYING = cure.Cure(120), drying.Drying(120)
READINGS = [Reading(ZONED, 15.0, 50.0)]
DAMP = AirState(15.0, 101.0)
NO_PANEL = car_plan.Mark("roof_box", 100.0, FilmClass.THIN)
ALWAYS = log_normal.LogNormal(3.0, 0.0)
WORK = durations.Work("wash_body", 0, Stage.CLEANING)
CAR = next_step.Car(State(Stage.CLEANING), tasks=())
STEP = next_step.NextStep(next_step.Code.START, "Start")
WAIT = outside.RunningClock(
    "cure",
    CURE,
    cure.cure_estimate(CURE, READINGS, started_at=ZONED, at=ZONED),
    0,
    touch_test=False,
    name="Dressing",
)

Odd = tuple[object, type[Exception], Callable[[], Any]]
CODES: list[Odd] = [
    (car_picker.kinds_first, KeyError, lambda: car_picker.kinds_first("roof_box")),
    (car_plan.Mark.sentence, KeyError, lambda: NO_PANEL.sentence),
    (car_plan.car_plan, KeyError, lambda: car_plan.car_plan([NO_PANEL])),
    (pads.areas_of, KeyError, lambda: pads.areas_of("lorry")),
    (
        refinishing.default_flash_off_minutes,
        ValueError,
        lambda: refinishing.default_flash_off_minutes(
            next(iter(refinishing.PARTS)),
            "varnish",  # type: ignore[arg-type]
        ),
    ),
]
NOTHING: list[Odd] = [
    (Spot.microns, ValueError, lambda: Spot("bonnet", Material.STEEL).microns),
    (paint_statistics.mean, ValueError, lambda: paint_statistics.mean([])),
    (paint_statistics.median, ValueError, lambda: paint_statistics.median([])),
    (
        paint_statistics.median_absolute_deviation,
        ValueError,
        lambda: paint_statistics.median_absolute_deviation([]),
    ),
    (paint_statistics.modified_z, ValueError, lambda: paint_statistics.modified_z([])),
    (paint_statistics.baseline_of, ValueError, lambda: paint_statistics.baseline_of({})),
    (paint_statistics.baselines, ValueError, lambda: paint_statistics.baselines({})),
    (control_chart.farthest, ValueError, lambda: control_chart.farthest(2, 0.05)),
    (shrinkage.shrink, ValueError, lambda: shrinkage.shrink([], [])),
    (sharing.share_minutes, ValueError, lambda: sharing.share_minutes(2, [1, 1, 1])),
    (air_marks.runs_beside, ValueError, lambda: air_marks.runs_beside([], [])),
    (air_marks.marks_beside, IndexError, lambda: air_marks.marks_beside([], [ZONED])),
    (cure.progress, ValueError, lambda: cure.progress(CURE, [], ZONED, ZONED)),
]
NO_SPREAD: list[Odd] = [
    (log_normal.LogNormal.z_of, ZeroDivisionError, lambda: ALWAYS.z_of(30)),
    (log_normal.LogNormal.z_of, ValueError, lambda: ALWAYS.z_of(0)),
    (log_normal.LogNormal.quantile, ValueError, lambda: ALWAYS.quantile(1)),
    (log_normal.drawn, ValueError, lambda: log_normal.drawn([3.0], np.eye(2))),
    (log_normal.drawn, ValueError, lambda: log_normal.drawn([3.0], np.eye(1), [1.0, 2.0])),
    (minutes_doubt.doubtful, ZeroDivisionError, lambda: minutes_doubt.doubtful(60, ALWAYS)),
    (minutes_doubt.doubtful, ValueError, lambda: minutes_doubt.doubtful(0, ALWAYS)),
    (pooling.Beliefs, ValueError, lambda: pooling.Beliefs([0.2, 0.0], 0.4)),
    (pooling.Beliefs, ValueError, lambda: pooling.Beliefs([0.2], 0.0)),
    (shrinkage.shrink, ValueError, lambda: shrinkage.shrink([1.0] * 4, [0.0] * 4)),
    (forecast_fit.Need, ValueError, lambda: forecast_fit.Need(CURE, 10.0, 0.0)),
    (durations.Learnt.of_task, ValueError, lambda: durations.learn([]).of_task(WORK)),
    (durations.learn, ValueError, lambda: durations.learn([durations.Done(WORK, 30)])),
    (
        queueing.queue,
        ValueError,
        lambda: queueing.queue(arrivals=1.0, services=0.0, people=1),
    ),
    (climate.surface_margin, ValueError, lambda: climate.surface_margin(15.0, 101.0)),
    (climate.evaporation, ValueError, lambda: climate.evaporation(15.0, -1.0)),
    (climate.frost_risk, ValueError, lambda: climate.frost_risk(1.0, 101.0)),
    (drying.Drying.rate, ValueError, lambda: DRYING.rate(DAMP)),
]
ZONES: list[Odd] = [
    (instants.to_utc, ValueError, lambda: instants.to_utc(NAIVE)),
    (instants.minutes_between, ValueError, lambda: instants.minutes_between(ZONED, NAIVE)),
    (worktime.Span, ValueError, lambda: worktime.Span(NAIVE, ZONED)),
    (due_load.is_late, ValueError, lambda: due_load.is_late(NAIVE, NAIVE)),
    (
        air_marks.runs_beside,
        TypeError,
        lambda: air_marks.runs_beside([air_marks.Said(ZONED, 15.0)], [NAIVE]),
    ),
    (air_series.samples_of, ValueError, lambda: list(air_series.samples_of(READINGS, NAIVE))),
    (
        air_series.steps_of,
        ValueError,
        lambda: list(air_series.steps_of([Reading(NAIVE, 15.0)], ZONED, damp=True)),
    ),
    (cure.progress, ValueError, lambda: cure.progress(CURE, READINGS, NAIVE, ZONED)),
    (
        cure.cure_estimate,
        ValueError,
        lambda: cure.cure_estimate(CURE, READINGS, started_at=NAIVE, at=ZONED),
    ),
    (
        cure.cure_estimate,
        ValueError,
        lambda: cure.cure_estimate(CURE, READINGS, started_at=ZONED, at=NAIVE),
    ),
    (
        drying.drying_estimate,
        ValueError,
        lambda: drying.drying_estimate(DRYING, [], started_at=ZONED, at=NAIVE),
    ),
    (
        flow.split,
        ValueError,
        lambda: flow.split(flow.CarTimes(), arrived_at=NAIVE, ready_at=ZONED),
    ),
    (
        flow_figures.edges_of,
        ValueError,
        lambda: flow_figures.edges_of([(NAIVE, None)], start=ZONED, end=ZONED),
    ),
    (forecasts.read_forecast, ValueError, lambda: forecasts.read_forecast({}, at=NAIVE)),
    (
        outside.earliest_outside,
        ValueError,
        lambda: outside.earliest_outside([], [], at=NAIVE, forecast_issued_at=None),
    ),
    (outside.RunningClock.runs_at, TypeError, lambda: WAIT.runs_at(NAIVE)),
    (
        next_step.order_of,
        ValueError,
        lambda: next_step.order_of(CAR, STEP, due_at=NAIVE, arrived_at=None),
    ),
    (
        refinishing.is_flashing_off,
        TypeError,
        lambda: refinishing.is_flashing_off([refinishing.Timer(ZONED, ZONED)], at=NAIVE),
    ),
    (
        refinishing.next_coat_from,
        TypeError,
        lambda: refinishing.next_coat_from(
            [refinishing.Timer(ZONED, ZONED), refinishing.Timer(ZONED, NAIVE)]
        ),
    ),
    (
        refinishing.dry_to_handle_at,
        ValueError,
        lambda: refinishing.dry_to_handle_at("sills", [refinishing.Timer(NAIVE, NAIVE)], []),
    ),
]


@pytest.mark.parametrize(("what", "error", "ask"), [*CODES, *NOTHING, *NO_SPREAD, *ZONES])
def test_a_docstring_names_the_error_that_odd_input_raises(
    what: object, error: type[Exception], ask: Callable[[], Any]
) -> None:
    with pytest.raises(error):
        ask()
    said = " ".join(str(what.__doc__).split())
    assert "Raises" in said
    if "Raises as" not in said:
        assert error.__name__ in said


def test_without_any_spread_times_are_their_medians() -> None:
    assert (ALWAYS.quantile(0.8), ALWAYS.deviation) == (ALWAYS.quantile(0.5), 0.0)
    means, still = [3.0, 2.0], np.zeros((2, 2))
    both = float(np.exp(means).sum())
    assert log_normal.sum_quantiles(means, still, (0.5, 0.8)) == pytest.approx([both, both])
    left = log_normal.drawn(means, still, [5.0, 0.0]).together((0.5, 0.8))
    assert left == pytest.approx([both - 5] * 2)
    assert log_normal.drawn(means, still, [50.0, 50.0]).together((0.5,)) == (0.0,)


def test_values_without_any_spread_stand_out_nowhere() -> None:
    assert paint_statistics.modified_z([110.0] * 5) == [0.0] * 5
    assert paint_statistics.standard_deviation([]) == 0.0
    assert paint_statistics.baseline_of({"bonnet": 110.0, "roof": 110.0}).score(110.0) == 0.0
    chart = control_chart.individuals_chart([3.0] * 30)
    assert chart is not None
    assert chart.signals == ()


def test_lateness_goes_by_the_instant_in_whichever_zone_it_is_told() -> None:
    later = ZONED + timedelta(minutes=30)
    assert due_load.is_late(ZONED, later.astimezone())
    assert not due_load.is_late(later, ZONED)
