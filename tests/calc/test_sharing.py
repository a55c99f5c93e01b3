"""An agreed time shared out among operations."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.calc.tasks.sharing import share_minutes

WEIGHTS = st.lists(st.integers(min_value=1, max_value=1000), min_size=1, max_size=20)


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        (60, [45], [60]),
        (90, [30, 60], [30, 60]),
        (45, [30, 60], [15, 30]),
        (10, [1, 1, 1], [4, 3, 3]),
        (3, [1000, 1, 1], [1, 1, 1]),
        (4, [1, 3], [1, 3]),
        (6, [100, 50, 1], [3, 2, 1]),  # the smallest gets its minute, 5 are left for 2 to 1
        (5, [1, 1, 8, 8], [1, 1, 2, 1]),
        (0, [], []),
    ],
)
def test_time_is_shared_in_proportion(total: int, weights: list[int], shares: list[int]) -> None:
    assert share_minutes(total, weights) == shares


@given(WEIGHTS, st.integers(min_value=0, max_value=10_000))
def test_every_minute_is_given_and_nobody_is_far_from_their_part(
    weights: list[int], more: int
) -> None:
    """Whoever has more than the one minute is off by less than one from the part of what is left.

    Sums are of fractions, so that nothing rests on rounding.
    """
    total = len(weights) + more
    shares = share_minutes(total, weights)
    assert sum(shares) == total
    assert min(shares) >= 1
    large = [nth for nth, share in enumerate(shares) if share > 1]
    left, whole = sum(shares[nth] for nth in large), sum(weights[nth] for nth in large)
    for nth in large:
        assert abs(shares[nth] - Fraction(left * weights[nth], whole)) < 1


@given(WEIGHTS, st.integers(min_value=0, max_value=10_000))
def test_who_weighs_more_never_gets_less(weights: list[int], more: int) -> None:
    shares = share_minutes(len(weights) + more, weights)
    by_weight = [share for _, share in sorted(zip(weights, shares, strict=True))]
    assert by_weight == sorted(by_weight)


@given(WEIGHTS, st.integers(min_value=1, max_value=9))
def test_what_divides_evenly_is_divided_so(weights: list[int], times: int) -> None:
    assert share_minutes(times * sum(weights), weights) == [times * weight for weight in weights]


@pytest.mark.parametrize(("total", "weights"), [(1, [5, 5]), (5, [0, 1]), (5, [-1])])
def test_what_cannot_be_shared_is_refused(total: int, weights: list[int]) -> None:
    with pytest.raises(ValueError, match="minute"):
        share_minutes(total, weights)
