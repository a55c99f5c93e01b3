"""The sum of cars due against capacity, held against an example worked by hand.

The example: today is Thursday 4 March 2027, 480 minutes on each day from Monday to Friday, none at
the weekend; 130 minutes were worked today.

    car   wanted back     open minutes
    A     Wed 3 (late)             200
    B     Thu 4                    150
    C     Thu 4                     60
    D     Sat 6                    700
    E     Mon 8                     45
    F     Mon 22 (beyond)           90
    G     no day                   300

    day      wanted   must by its end                there is by then          over
    Thu 4    210      200 + 210 = 410                480 - 130 = 350             60
    Fri 5      0      410                            350 + 480 = 830              0
    Sat 6    700      410 + 700 = 1110               830                        280
    Sun 7      0      1110                           830                        280
    Mon 8     45      1110 + 45 = 1155               830 + 480 = 1310             0
"""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.hours import DAYS_SHOWN, Share, WantedCar, due_load, is_late, minutes_left

TODAY = date(2027, 3, 4)
WEEK = dict.fromkeys(range(5), 480)
CARS = (
    WantedCar(date(2027, 3, 3), 200, late=True),
    WantedCar(date(2027, 3, 4), 150),
    WantedCar(date(2027, 3, 4), 60),
    WantedCar(date(2027, 3, 6), 700),
    WantedCar(date(2027, 3, 8), 45),
    WantedCar(date(2027, 3, 22), 90),
    WantedCar(None, 300),
)
BY_HAND = [
    (Share(2, 210), 410, 350, 60),
    (Share(0, 0), 410, 830, 0),
    (Share(1, 700), 1110, 830, 280),
    (Share(0, 0), 1110, 830, 280),
    (Share(1, 45), 1155, 1310, 0),
]


def test_the_example_comes_out_as_it_does_by_hand() -> None:
    load = due_load(CARS, today=TODAY, capacity=WEEK, worked_today=130)
    days = [(day.wanted, day.must, day.available, day.over) for day in load.days]
    assert days[:5] == BY_HAND
    assert len(days) == DAYS_SHOWN == 14
    assert [load.days[0].day, load.days[-1].day] == [TODAY, date(2027, 3, 17)]


def test_late_cars_cars_beyond_and_cars_without_a_day_stand_on_lines_of_their_own() -> None:
    load = due_load(CARS, today=TODAY, capacity=WEEK)
    assert (load.late, load.beyond, load.undated) == (Share(1, 200), Share(1, 90), Share(1, 300))


def test_a_car_late_since_this_morning_counts_as_late_and_not_on_today() -> None:
    load = due_load([WantedCar(TODAY, 60, late=True)], today=TODAY, capacity=WEEK)
    assert (load.late, load.days[0].wanted) == (Share(1, 60), Share())
    assert load.days[0].must == 60


def test_more_worked_today_than_there_was_leaves_nothing_and_not_less() -> None:
    load = due_load([], today=TODAY, capacity=WEEK, worked_today=500)
    assert [day.available for day in load.days[:2]] == [0, 480]


def test_a_weekday_that_nobody_set_has_no_minutes() -> None:
    load = due_load([], today=TODAY, capacity={4: 300})
    assert [day.capacity for day in load.days[:3]] == [0, 300, 0]


@pytest.mark.parametrize(
    ("planned", "worked", "left"), [(60, 0, 60), (60, 45, 15), (60, 60, 0), (60, 90, 0)]
)
def test_what_was_worked_counts_as_done_up_to_what_was_planned(
    planned: int, worked: int, left: int
) -> None:
    assert minutes_left(planned=planned, worked=worked) == left


def test_a_car_is_late_only_after_its_time() -> None:
    at = datetime(2027, 3, 4, 12, tzinfo=UTC)
    assert not is_late(at, at)
    assert is_late(at - timedelta(seconds=1), at)


days = st.one_of(st.none(), st.dates(TODAY - timedelta(days=30), TODAY + timedelta(days=30)))


@given(
    st.lists(st.tuples(days, st.integers(0, 900))),
    st.dictionaries(st.integers(0, 6), st.integers(0, 2000)),
    st.integers(0, 3000),
)
def test_every_car_stands_on_one_line_and_sums_only_grow(
    cars: list[tuple[date | None, int]], capacity: dict[int, int], worked: int
) -> None:
    wanted = [WantedCar(day, left, late=day is not None and day < TODAY) for day, left in cars]
    load = due_load(wanted, today=TODAY, capacity=capacity, worked_today=worked)
    lines = [load.late, load.beyond, load.undated, *(day.wanted for day in load.days)]
    assert sum(line.cars for line in lines) == len(cars)
    assert sum(line.minutes for line in lines) == sum(left for _, left in cars)
    for earlier, later in zip(load.days, load.days[1:], strict=False):
        assert later.must - earlier.must == later.wanted.minutes
        assert later.available - earlier.available == later.capacity >= 0
