"""The M/M/c queue against published values and against its own balance."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.statistics.queueing import FULL_LOAD, queue


def test_one_server_has_the_textbook_values() -> None:
    """M/M/1 with 24 an hour against 30: any textbook; worked out by hand as well."""
    line = queue(arrivals=24, services=30, people=1)
    assert line.inside == pytest.approx(4)
    assert line.time == pytest.approx(1 / 6)
    assert line.load == pytest.approx(0.8)
    assert line.empty == pytest.approx(0.2)


def test_thirty_against_forty_leave_two_and_a_quarter_waiting() -> None:
    assert queue(arrivals=30, services=40, people=1).waiting == pytest.approx(2.25)


def test_three_servers_have_the_published_values() -> None:
    """Bronson, Operations Research (1982): M/M/3 with 300 against 182.5."""
    three = queue(arrivals=300, services=182.5, people=3)
    assert three.waiting == pytest.approx(0.352426, abs=1e-6)
    assert three.inside == pytest.approx(1.996262, abs=1e-6)
    assert three.empty == pytest.approx(0.177537, abs=1e-6)


@pytest.mark.parametrize(
    ("arrivals", "services", "people"),
    [(30, 30, 1), (31, 30, 1), (60, 30, 2), (0, 30, 1), (30, 0, 1), (-1, 2, 1), (1, 2, 0)],
)
def test_a_line_that_never_ends_and_rates_that_are_none_are_refused(
    arrivals: float, services: float, people: int
) -> None:
    with pytest.raises(ValueError, match=r"\."):
        queue(arrivals=arrivals, services=services, people=people)


def by_states(arrivals: float, services: float, people: int) -> tuple[float, float]:
    """Return P0 and L by adding up the states of the birth and death process one by one."""
    weights = [1.0]
    for cars in range(1, 4000):
        weights.append(weights[-1] * arrivals / (services * min(cars, people)))
    whole = math.fsum(weights)
    return 1 / whole, math.fsum(cars * weight for cars, weight in enumerate(weights)) / whole


@given(st.floats(0.05, 0.97), st.integers(1, 30), st.floats(0.1, 50))
def test_it_agrees_with_adding_up_the_states(load: float, people: int, services: float) -> None:
    arrivals = load * people * services
    line = queue(arrivals=arrivals, services=services, people=people)
    empty, inside = by_states(arrivals, services, people)
    assert line.empty == pytest.approx(empty, rel=1e-6)
    assert line.inside == pytest.approx(inside, rel=1e-6)
    assert line.inside == pytest.approx(arrivals * line.time)  # Little's law
    assert line.waiting == pytest.approx(arrivals * line.wait)


@given(st.floats(0.05, 0.9), st.integers(1, 10))
def test_more_load_never_waits_less_and_one_more_person_never_longer(
    load: float, people: int
) -> None:
    here = queue(arrivals=load * people, services=1, people=people)
    assert queue(arrivals=load * people * 1.05, services=1, people=people).wait >= here.wait
    assert queue(arrivals=load * people, services=1, people=people + 1).wait <= here.wait


def test_up_to_the_cut_the_wait_is_one_that_can_be_said() -> None:
    """Beyond it a wait of 5e17 minutes was told; at the cut 49 times the work itself."""
    almost = queue(arrivals=FULL_LOAD, services=1, people=1)
    assert almost.wait == pytest.approx(FULL_LOAD / (1 - FULL_LOAD))
