"""What the sums do with odd input is what their docstrings say: which errors, and which values."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from jobs.work.calc import coats, hours, instants
from jobs.work.calc.air import climate, doubts, forecasts, series
from jobs.work.calc.air.series import AirState, Reading
from jobs.work.calc.curing import cure, drying, forecast_fit, outside
from jobs.work.calc.flow import control_chart, course, figures
from jobs.work.calc.minutes import doubt, durations
from jobs.work.calc.paint import pads, statistics
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
        coats.default_flash_off_minutes,
        ValueError,
        lambda: coats.default_flash_off_minutes(
            next(iter(coats.PARTS)),
            "varnish",  # type: ignore[arg-type]
        ),
    ),
]
NOTHING: list[Odd] = [
    (Spot.microns, ValueError, lambda: Spot("bonnet", Material.STEEL).microns),
    (statistics.mean, ValueError, lambda: statistics.mean([])),
    (statistics.median, ValueError, lambda: statistics.median([])),
    (
        statistics.median_absolute_deviation,
        ValueError,
        lambda: statistics.median_absolute_deviation([]),
    ),
    (statistics.modified_z, ValueError, lambda: statistics.modified_z([])),
    (statistics.baseline_of, ValueError, lambda: statistics.baseline_of({})),
    (statistics.baselines, ValueError, lambda: statistics.baselines({})),
    (control_chart.farthest, ValueError, lambda: control_chart.farthest(2, 0.05)),
    (shrinkage.shrink, ValueError, lambda: shrinkage.shrink([], [])),
    (sharing.share_minutes, ValueError, lambda: sharing.share_minutes(2, [1, 1, 1])),
    (doubts.runs_beside, ValueError, lambda: doubts.runs_beside([], [])),
    (doubts.marks_beside, IndexError, lambda: doubts.marks_beside([], [ZONED])),
    (cure.progress, ValueError, lambda: cure.progress(CURE, [], ZONED, ZONED)),
]
NO_SPREAD: list[Odd] = [
    (log_normal.LogNormal.z_of, ZeroDivisionError, lambda: ALWAYS.z_of(30)),
    (log_normal.LogNormal.z_of, ValueError, lambda: ALWAYS.z_of(0)),
    (log_normal.LogNormal.quantile, ValueError, lambda: ALWAYS.quantile(1)),
    (log_normal.drawn, ValueError, lambda: log_normal.drawn([3.0], np.eye(2))),
    (log_normal.drawn, ValueError, lambda: log_normal.drawn([3.0], np.eye(1), [1.0, 2.0])),
    (doubt.doubtful, ZeroDivisionError, lambda: doubt.doubtful(60, ALWAYS)),
    (doubt.doubtful, ValueError, lambda: doubt.doubtful(0, ALWAYS)),
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
    (hours.is_late, ValueError, lambda: hours.is_late(NAIVE, NAIVE)),
    (
        doubts.runs_beside,
        TypeError,
        lambda: doubts.runs_beside([doubts.Said(ZONED, 15.0)], [NAIVE]),
    ),
    (series.samples_of, ValueError, lambda: list(series.samples_of(READINGS, NAIVE))),
    (
        series.steps_of,
        ValueError,
        lambda: list(series.steps_of([Reading(NAIVE, 15.0)], ZONED, damp=True)),
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
        course.split,
        ValueError,
        lambda: course.split(course.CarTimes(), arrived_at=NAIVE, ready_at=ZONED),
    ),
    (
        figures.edges_of,
        ValueError,
        lambda: figures.edges_of([(NAIVE, None)], start=ZONED, end=ZONED),
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
        coats.is_flashing_off,
        TypeError,
        lambda: coats.is_flashing_off([coats.Timer(ZONED, ZONED)], at=NAIVE),
    ),
    (
        coats.next_coat_from,
        TypeError,
        lambda: coats.next_coat_from([coats.Timer(ZONED, ZONED), coats.Timer(ZONED, NAIVE)]),
    ),
    (
        coats.dry_to_handle_at,
        ValueError,
        lambda: coats.dry_to_handle_at("sills", [coats.Timer(NAIVE, NAIVE)], []),
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
    assert statistics.modified_z([110.0] * 5) == [0.0] * 5
    assert statistics.standard_deviation([]) == 0.0
    assert statistics.baseline_of({"bonnet": 110.0, "roof": 110.0}).score(110.0) == 0.0
    chart = control_chart.individuals_chart([3.0] * 30)
    assert chart is not None
    assert chart.signals == ()


def test_lateness_goes_by_the_instant_in_whichever_zone_it_is_told() -> None:
    later = ZONED + timedelta(minutes=30)
    assert hours.is_late(ZONED, later.astimezone())
    assert not hours.is_late(later, ZONED)
