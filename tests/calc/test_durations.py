"""What is learnt from finished tasks, and what is said of the next."""

import functools
import random
from dataclasses import replace
from itertools import pairwise
from math import exp, log, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from jobs.work.calc.minutes.doubt import DOUBTFUL_Z, doubtful
from jobs.work.calc.minutes.durations import BELIEFS, Done, Learnt, Term, Work, learn
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.clusters import clusters_of, equations_of
from jobs.work.calc.statistics.pooling import Beliefs, Observed, pooled
from tests.calc.test_durations_experiment import Workshop, learnt

WASH = Work("wash_body", 35, Stage.CLEANING, "medium", 2, "Tam")
VACUUM = Work("vacuum", 25, Stage.CLEANING, "medium", 2, "Tam")
POLISH = Work("polish_one_stage", 120, Stage.CORRECTION, "medium", 2, "Tam")
Z80 = 0.8416212335729143


def test_without_any_history_the_standard_speaks_alone() -> None:
    (wash,) = learn([]).tasks([WASH])
    assert wash.likely == pytest.approx(35)
    spread = sqrt(
        sum(deviation**2 for deviation in (*BELIEFS.spreads, BELIEFS.error, BELIEFS.shared))
    )
    assert wash.four_of_five == pytest.approx(35 * exp(Z80 * spread))
    assert wash.observations == 0


def test_our_factors_for_size_and_dirt_count_until_there_is_history() -> None:
    nothing = learn([])
    van = replace(WASH, body_size="large_van", soiling=5)
    assert nothing.tasks([van])[0].likely == pytest.approx(35 * 1.5 * 2.1)
    walk = Work("walk_round", 10, Stage.INTAKE, "large_van", 5)
    assert nothing.tasks([walk])[0].likely == pytest.approx(10 * (1.5 * 2.1) ** 0.3)


def test_a_car_that_nobody_has_seen_is_foretold_less_surely() -> None:
    nothing = learn([])
    seen, unseen = nothing.tasks([WASH, Work("wash_body", 35, Stage.CLEANING)])
    assert unseen.likely == pytest.approx(seen.likely)
    assert unseen.four_of_five > seen.four_of_five


def test_a_workshop_that_takes_half_as_long_again_is_believed_in_the_end() -> None:
    knows = learn([Done(WASH, round(1.5 * 35))] * 100)
    (wash,) = knows.tasks([WASH])
    assert wash.likely == pytest.approx(1.5 * 35, rel=0.03)


def test_what_is_learnt_of_one_operation_is_worth_something_to_the_others() -> None:
    knows = learn([Done(WASH, 70)] * 20)
    vacuum, by_milo = knows.tasks([VACUUM, replace(VACUUM, person="Milo")])
    assert 25 < by_milo.likely < vacuum.likely < 50
    assert 0 < vacuum.observations < knows.tasks([WASH])[0].observations


def test_a_slow_colleague_is_told_from_slow_work() -> None:
    milo = {name: replace(work, person="Milo") for name, work in {"w": WASH, "v": VACUUM}.items()}
    done = [Done(WASH, 35), Done(VACUUM, 25), Done(milo["w"], 60), Done(milo["v"], 43)] * 20
    knows = learn(done)
    tam, slow = knows.tasks([WASH, milo["w"]])
    assert tam.likely < slow.likely
    whoever = knows.tasks([replace(WASH, person="")])[0]
    assert tam.likely < whoever.likely < slow.likely


def test_dirt_is_learnt_from_the_work_that_feels_it() -> None:
    filthy = replace(WASH, soiling=4)
    knows = learn([Done(filthy, 120)] * 30 + [Done(WASH, 35)] * 30)
    dirty, clean = knows.tasks([replace(VACUUM, soiling=4), VACUUM])
    untouched = learn([]).tasks([replace(VACUUM, soiling=4), VACUUM])
    assert dirty.likely / clean.likely > untouched[0].likely / untouched[1].likely
    polish = knows.tasks([replace(POLISH, soiling=4), POLISH])
    felt = log(polish[0].likely / polish[1].likely) / log(dirty.likely / clean.likely)
    assert felt == pytest.approx(0.2)


def test_an_unsteady_operation_gets_more_room_than_a_steady_one() -> None:
    steady = [Done(VACUUM, minutes) for minutes in (24, 25, 26)] * 20
    unsteady = [Done(WASH, minutes) for minutes in (15, 35, 80)] * 20
    wash, vacuum = learn(steady + unsteady).tasks([WASH, VACUUM])
    assert wash.four_of_five / wash.likely > 1.3
    assert vacuum.four_of_five / vacuum.likely < 1.25


@pytest.mark.parametrize("count", [0, 1, 2, 5, 20, 80])
def test_each_finished_task_makes_the_history_say_more(count: int) -> None:
    here = Workshop(7).tasks(200)
    asked = here[-1].work
    less, more = (learnt(here[:size]).tasks([asked])[0] for size in (count, 2 * count + 1))
    assert 0 <= less.observations < more.observations


def test_n_tasks_of_one_kind_alone_say_nearly_as_much_as_n() -> None:
    """The definition: what the standard is worth beforehand is not among the observations."""
    knows = learn([Done(WASH, minutes) for minutes in (30, 35, 41)] * 4)
    assert knows.tasks([WASH])[0].observations == pytest.approx(12)


def test_a_job_of_one_task_takes_what_the_task_takes() -> None:
    knows = learnt(Workshop(3).tasks(80))
    work = Workshop(3).tasks(1)[0].work
    (alone,) = knows.tasks([work])
    job = knows.job([work])
    assert (job.likely, job.four_of_five) == pytest.approx(
        (alone.likely, alone.four_of_five), rel=3e-3
    )
    assert job.observations == pytest.approx(alone.observations)


def test_a_job_is_as_slow_as_simulation_says_with_what_its_tasks_share() -> None:
    """Drawn from the posterior itself: effects first, then each task's own error."""
    knows = learnt(Workshop(5).tasks(40))
    works = [replace(WASH, soiling=None), VACUUM, POLISH, replace(POLISH, person="")]
    job = knows.job(works)
    means, covariance, _ = knows._foretold(works)
    rng = np.random.default_rng(1)
    draws = np.exp(rng.multivariate_normal(means, covariance, 200_000)).sum(axis=1)
    assert job.likely == pytest.approx(np.quantile(draws, 0.5), rel=0.02)
    assert job.four_of_five == pytest.approx(np.quantile(draws, 0.8), rel=0.02)


def test_tasks_that_share_a_car_run_over_together() -> None:
    """Drawn from our beliefs: workshop, size, dirt, person and the car's own effect are one."""
    job = learn([]).job([WASH, VACUUM])
    rng = np.random.default_rng(2)
    shared = np.delete(BELIEFS.spreads, Term.OPERATION)
    common = rng.normal(0, sqrt(shared @ shared + BELIEFS.shared**2), 200_000)
    alone = sqrt(BELIEFS.spreads[Term.OPERATION] ** 2 + BELIEFS.error**2)
    wash, vacuum = (rng.normal(0, alone, 200_000) for _ in range(2))
    minutes = 35 * np.exp(common + wash) + 25 * np.exp(common + vacuum)
    assert job.likely == pytest.approx(np.quantile(minutes, 0.5), rel=0.01)
    assert job.four_of_five == pytest.approx(np.quantile(minutes, 0.8), rel=0.01)


def test_a_task_under_way_is_foretold_by_what_such_tasks_still_take() -> None:
    """Against the conditional quantiles of SciPy's lognorm."""
    knows = learnt(Workshop(3).tasks(80))
    time = knows.of_task(WASH)
    dist = stats.lognorm(time.log_deviation, scale=exp(time.log_mean))
    for worked in (1, 10, 30, round(dist.ppf(0.99)), round(dist.ppf(0.998))):
        (task,), whole = knows.left([WASH], [worked])
        theirs = [dist.isf(dist.sf(worked) * part) - worked for part in (0.5, 0.2)]
        assert (task.likely, task.four_of_five) == pytest.approx(theirs, rel=1e-4)
        assert whole == task


def test_what_was_worked_is_not_left_and_a_clock_that_was_forgotten_says_no_more() -> None:
    knows = learn([])
    rests = [knows.left([WASH], [worked])[1] for worked in range(0, 1200, 5)]
    ends = [5 * nth + rest.four_of_five for nth, rest in enumerate(rests)]
    assert ends == sorted(ends)
    assert rests[5].likely < rests[0].likely - 15
    assert all(0 < rest.likely < rest.four_of_five < 120 for rest in rests)
    time = knows.of_task(WASH)
    doubtful_from = int(exp(time.log_mean + DOUBTFUL_Z * time.log_deviation)) + 1
    assert doubtful(doubtful_from, time)
    forgotten = [knows.left([WASH], [worked])[1] for worked in (doubtful_from, 900, 10**7)]
    assert forgotten == [forgotten[0]] * 3


def test_a_task_that_takes_long_makes_the_others_of_its_car_longer() -> None:
    knows = learn([])
    (wash, vacuum), whole = knows.left([WASH, VACUUM], [0, 0])
    assert [wash, vacuum] == knows.tasks([WASH, VACUUM])
    assert whole == knows.job([WASH, VACUUM])
    (slow, longer), rest = knows.left([WASH, VACUUM], [100, 0])
    assert longer.likely > 1.1 * vacuum.likely
    assert longer.four_of_five > 1.1 * vacuum.four_of_five
    assert rest.four_of_five < slow.four_of_five + longer.four_of_five
    assert longer.observations == vacuum.observations


def test_as_many_minutes_as_tasks_are_wanted() -> None:
    with pytest.raises(ValueError, match="shorter"):
        learn([]).left([WASH, VACUUM], [3])


def test_a_job_without_open_work_takes_no_time() -> None:
    job = learn([]).job([])
    assert (job.likely, job.four_of_five, job.observations) == (0, 0, 0)


def test_minutes_of_nothing_cannot_be_learnt_from() -> None:
    with pytest.raises(ValueError, match="math domain"):
        learn([Done(WASH, 0)])


@given(
    st.lists(
        st.tuples(st.integers(0, 59), st.integers(0, 5), st.booleans()), min_size=1, max_size=40
    ),
    st.randoms(use_true_random=False),
)
def test_the_order_of_the_history_moves_nothing(
    picked: list[tuple[int, int, bool]], draw: random.Random
) -> None:
    tasks = [task.done for task in Workshop(9).tasks(60)]
    history = [replace(tasks[nth], car=car if known else None) for nth, car, known in picked]
    mixed = draw.sample(history, len(history))
    works = [WASH, VACUUM, replace(POLISH, person="")]
    there, from_mixed = learn(history), learn(mixed)
    assert there.tasks(works) == from_mixed.tasks(works)  # to the last bit
    assert there.left(works, [20, 0, 0]) == from_mixed.left(works, [20, 0, 0])


def test_the_posterior_of_one_mean_is_the_textbooks() -> None:
    """Normal mean with known variances: precisions add up (Gelman et al., Bayesian Data Analysis).

    With one family of one group and beliefs that outweigh the data, spread and error stay.
    """
    values = np.array([1.0, 2.0, 4.0])
    observed = Observed([("a",)] * 3, np.ones((3, 1)), values, kind=0, clusters=[1, 2, 3])
    found = pooled(observed, Beliefs(spreads=(2.0,), error=1.5))
    error = found.errors["a"]
    precision = 1 / 2.0**2 + 3 / error
    assert found.means[0] == pytest.approx((values.sum() / error) / precision)
    assert found.covariance[0, 0] == pytest.approx(1 / precision)
    assert found.spreads[0] == 2.0**2


def test_the_spreads_of_a_made_up_workshop_are_found() -> None:
    """Forty operations a fifth apart in a steady workshop, where a third was believed."""
    rng = np.random.default_rng(3)
    done = [
        Done(Work(f"own_{nth}", 60, Stage.CURING), max(1, round(60 * exp(effect + error))))
        for nth, effect in enumerate(rng.normal(0, 0.6, 40))
        for error in rng.normal(0, 0.2, 15)
    ]
    known = learn(done).posterior
    assert sqrt(known.spreads[Term.OPERATION]) == pytest.approx(0.6, abs=0.1)
    assert sqrt(known.error) == pytest.approx(0.2, abs=0.02)


WORKS = st.builds(
    Work,
    st.sampled_from(["wash", "vacuum", "polish", "own:1", "own:2"]),
    st.integers(1, 400),
    st.sampled_from([Stage.CLEANING, Stage.CORRECTION]),
    st.sampled_from(["", "small", "large", "van"]),
    st.sampled_from([None, 1, 3, 5]),
    st.sampled_from(["", "person 0", "nobody seen"]),
)


@functools.cache
def some_knowledge(history: int) -> Learnt:
    """Return what a made-up workshop knows, its cars' tasks known to be of one car."""
    tasks = Workshop(7).tasks(history)
    return learn([replace(task.done, car=nth // 3) for nth, task in enumerate(tasks)])


@given(st.lists(WORKS, max_size=9), WORKS, st.sampled_from([0, 5, 60]))
def test_another_task_never_makes_a_job_shorter(
    works: list[Work], added: Work, history: int
) -> None:
    knows = some_knowledge(history)
    before, after = knows.job(works), knows.job([*works, added])
    assert after.likely > before.likely
    assert after.four_of_five > before.four_of_five


WORKED = st.one_of(st.just(0), st.integers(1, 900))


@given(
    st.lists(st.tuples(WORKS, WORKED), max_size=9),
    st.randoms(use_true_random=False),
    st.sampled_from([0, 5, 60]),
)
def test_the_order_of_a_jobs_tasks_moves_nothing(
    begun: list[tuple[Work, int]], draw: random.Random, history: int
) -> None:
    knows = some_knowledge(history)
    mixed = draw.sample(range(len(begun)), len(begun))
    each, whole = knows.left([work for work, _ in begun], [minutes for _, minutes in begun])
    works, worked = [begun[nth][0] for nth in mixed], [begun[nth][1] for nth in mixed]
    # To the last bit. Tasks that are the same in all are told apart by nothing, so they may swap.
    assert knows.left(works, worked)[1] == whole
    assert knows.job(works) == knows.job([work for work, _ in begun])
    assert sorted(map(repr, knows.left(works, worked)[0])) == sorted(map(repr, each))


@given(
    st.lists(st.tuples(WORKS, WORKED), max_size=9),
    WORKS,
    st.sampled_from([0, 5, 60]),
)
def test_another_task_never_makes_what_is_left_shorter(
    begun: list[tuple[Work, int]], added: Work, history: int
) -> None:
    knows = some_knowledge(history)
    works, worked = [work for work, _ in begun], [minutes for _, minutes in begun]
    before, after = knows.left(works, worked)[1], knows.left([*works, added], [*worked, 0])[1]
    assert after.likely > before.likely
    assert after.four_of_five > before.four_of_five


def test_a_minute_more_on_a_long_job_is_not_lost_in_the_sum() -> None:
    """The lattice is half a percent off, which is more than a short task among long ones."""
    knows = learn([])
    long = [replace(POLISH, operation=f"own:{nth}", standard_minutes=300) for nth in range(6)]
    short = replace(WASH, standard_minutes=1)
    shorts = [replace(short, operation=f"short:{nth}") for nth in range(8)]
    jobs = [knows.job([*long, *shorts[:count]]) for count in range(9)]
    assert all(before.four_of_five < after.four_of_five for before, after in pairwise(jobs))


@pytest.mark.parametrize("apart", [0.0, 0.2, 0.3, 0.5])
def test_how_far_cars_lie_apart_is_found(apart: float) -> None:
    """Made-up errors over 400 cars of three tasks each, that share an effect of their car."""
    rng = np.random.default_rng(3)
    errors = np.repeat(rng.normal(0, apart, 400), 3) + rng.normal(0, 0.35, 1200)
    minutes = [max(1, round(200 * exp(error))) for error in errors]
    operations = ["wash", "vacuum", "polish"] * 400
    knows = learn(
        [
            Done(replace(WASH, operation=name, standard_minutes=200), taken, nth // 3)
            for nth, (name, taken) in enumerate(zip(operations, minutes, strict=True))
        ]
    )
    assert sqrt(knows.posterior.shared) == pytest.approx(apart, abs=0.05)
    assert sqrt(knows.posterior.error) == pytest.approx(0.35, abs=0.02)


def test_few_cars_are_taken_to_differ_rather_more_than_they_seem_to() -> None:
    """Nine cars that did not differ at all do not say that none will."""
    alike = [Done(work, work.standard_minutes, car) for car in range(9) for work in (WASH, VACUUM)]
    shared = [learn(alike[: 2 * cars]).posterior.shared for cars in range(10)]
    assert shared[0] == pytest.approx(BELIEFS.shared**2)
    assert shared[9] < shared[1]
    assert shared[9] > 0.1**2


def test_ten_tasks_of_one_car_say_less_than_ten_of_ten_cars() -> None:
    minutes = [50, 60, 70, 80, 95] * 2
    same = learn([Done(WASH, minute, "car") for minute in minutes]).tasks([VACUUM])[0]
    apart = learn([Done(WASH, taken, car) for car, taken in enumerate(minutes)]).tasks([VACUUM])[0]
    assert 25 < same.likely < apart.likely


def test_people_are_not_told_apart_by_the_cars_they_had() -> None:
    """Ten people alike, each with three cars of four tasks, and cars half of their minutes apart.

    What a car's tasks share does not average out among them, so it is no sign of a slow person.
    """
    cars = [(person, car) for person in range(10) for car in range(3) for _ in range(4)]
    keys = [(nth % 4, person) for nth, (person, _) in enumerate(cars)]
    apart = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        values = np.repeat(rng.normal(0, 0.5, 30), 4) + rng.normal(0, 0.3, 120)
        observed = Observed(keys, np.ones((120, 2)), values, kind=0, clusters=cars)
        found = pooled(observed, Beliefs(spreads=(0.3, 0.15), error=0.36, shared=0.2))
        apart.append(sqrt(found.spreads[1]))
    assert np.mean(apart) < 0.2  # 0.26 where the cars are left out of it


def test_clusters_are_integrated_out_as_by_the_whole_covariance() -> None:
    """The likelihood and the means are those of SciPy's multivariate normal and of full algebra."""
    rng = np.random.default_rng(8)
    names, rows = [0, 0, 1, 2, 1, 0], rng.normal(0, 1, (6, 2))
    values, certainty, prior = rng.normal(0, 1, 6), rng.uniform(1, 9, 6), np.array([4.0, 9.0])
    equations = equations_of(rows, values, certainty, prior, clusters_of(names))
    together = np.equal.outer(names, names)
    found, known = [], []
    for shared in (0.0, 0.04, 0.5):
        noise = np.diag(1 / certainty) + shared * together
        whole = rows @ np.diag(1 / prior) @ rows.T + noise
        found.append(equations.log_likelihood(shared))
        known.append(stats.multivariate_normal(np.zeros(6), whole).logpdf(values))
        precision, pull = equations.integrated(shared)
        theirs = np.diag(prior) + rows.T @ np.linalg.inv(noise) @ rows
        assert precision == pytest.approx(theirs)
        assert pull == pytest.approx(rows.T @ np.linalg.inv(noise) @ values)
    assert np.diff(found) == pytest.approx(np.diff(known))
