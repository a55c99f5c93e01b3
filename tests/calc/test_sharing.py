"""An agreed time shared out among operations."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.sharing import share_minutes

WEIGHTS = st.lists(st.integers(min_value=1, max_value=1000), min_size=1, max_size=20)


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        (60, [45], [60]),
        (90, [30, 60], [30, 60]),
        (45, [30, 60], [15, 30]),
        (10, [1, 1, 1], [4, 3, 3]),
        (3, [1000, 1, 1], [1, 1, 1]),
        (0, [], []),
    ],
)
def test_time_is_shared_in_proportion(total: int, weights: list[int], shares: list[int]) -> None:
    assert share_minutes(total, weights) == shares


@given(WEIGHTS, st.integers(min_value=0, max_value=10_000))
def test_every_minute_is_given_and_nobody_is_far_from_their_part(
    weights: list[int], more: int
) -> None:
    total = len(weights) + more
    shares = share_minutes(total, weights)
    assert sum(shares) == total
    assert min(shares) >= 1
    for share, weight in zip(shares, weights, strict=True):
        assert abs(share - 1 - more * weight / sum(weights)) < 1


@pytest.mark.parametrize(("total", "weights"), [(1, [5, 5]), (5, [0, 1]), (5, [-1])])
def test_what_cannot_be_shared_is_refused(total: int, weights: list[int]) -> None:
    with pytest.raises(ValueError, match="minute"):
        share_minutes(total, weights)
