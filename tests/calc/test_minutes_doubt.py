"""Which minutes are asked about."""

from math import exp, log

import pytest

from jobs.work.calc.minutes.doubt import DOUBTFUL_Z, LEAST_MINUTES, doubtful, hardly_measured
from jobs.work.calc.minutes.durations import Work, learn
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.log_normal import LogNormal


@pytest.mark.parametrize(
    ("minutes", "asked"), [(35, False), (90, False), (150, False), (840, True), (3, True)]
)
def test_a_wash_left_running_over_night_is_asked_about_and_one_of_a_moment_too(
    minutes: int, *, asked: bool
) -> None:
    """Standard minutes alone, which is all there is on the first day."""
    wash = learn([]).of_task(Work("wash_body", 35, Stage.CLEANING))
    assert doubtful(minutes, wash) is asked


def test_the_limit_lies_at_so_many_deviations_either_way() -> None:
    usual = LogNormal(log(100), 0.4)
    reach = DOUBTFUL_Z * 0.4
    most, least = 100 * exp(reach), 100 * exp(-reach)
    assert not doubtful(int(most), usual)
    assert doubtful(int(most) + 1, usual)
    assert doubtful(int(least), usual)
    assert not doubtful(int(least) + 1, usual)


def test_nobody_is_asked_about_a_few_minutes_however_unlikely() -> None:
    usual = LogNormal(log(20), 0.05)
    assert not doubtful(20 + LEAST_MINUTES - 1, usual)
    assert doubtful(20 + LEAST_MINUTES, usual)
    assert not doubtful(20 - LEAST_MINUTES + 1, usual)
    assert doubtful(20 - LEAST_MINUTES, usual)


def test_a_clock_of_less_than_a_minute_measured_nothing() -> None:
    assert hardly_measured(0)
    assert hardly_measured(59.9)
    assert not hardly_measured(60)


def test_no_minutes_at_all_cannot_be_held_against_what_such_work_takes() -> None:
    with pytest.raises(ValueError, match="above 0"):
        doubtful(0, LogNormal(log(60), 0.3))
