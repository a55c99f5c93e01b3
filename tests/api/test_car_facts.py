"""What is true of one car: each part is one query, made once; what was not read is asked about."""

from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from pytest_django import DjangoAssertNumQueries

from core.problems import NotFound
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import Job
from jobs.work.selectors.cars import CarFacts, facts_of
from jobs.work.selectors.curing.clocks import with_waits
from tests.api.clock_steps import EIGHT, in_curing
from tests.api.found import PAPERS, found
from tests.api.steps import done
from tests.scene import Scene

PARTS = ("waits", "holds", "findings", "clocks", "photos", "requests", "entries")
WORKED_OUT = ("found", "running", "outside", "cured_at", "changes", "supplied")


@pytest.fixture
def curing(scene: Scene) -> Job:
    """Return a car with a dressing that cures, a finding and a hold."""
    with time_machine.travel(EIGHT, tick=False):
        job = in_curing(scene, "trim_dressing", supplied=["Wheel trim"])
        found(scene.workshop_api(), job, PAPERS)
        body = {"cause": "parts", "reason": "The trim has not come."}
        done(scene.workshop_api().post(f"/jobs/{job['id']}/holds", body))
    return Job.objects.get(pk=job["id"])


@pytest.mark.parametrize("part", PARTS)
def test_each_part_is_one_query_and_read_once(
    curing: Job, django_assert_num_queries: DjangoAssertNumQueries, part: str
) -> None:
    facts = CarFacts(curing, EIGHT)
    with django_assert_num_queries(0):
        CarFacts(curing, EIGHT)
    with django_assert_num_queries(1):
        first = getattr(facts, part)
    with django_assert_num_queries(0):
        assert getattr(facts, part) is first


def test_the_rest_is_worked_out_from_what_was_read(
    curing: Job, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    facts = CarFacts(curing, EIGHT)
    for part in PARTS:
        getattr(facts, part)
    with django_assert_num_queries(0):
        known = {name: getattr(facts, name) for name in WORKED_OUT}
    assert [clock.task.operation for clock in known["running"]] == ["trim_dressing"]
    assert known["outside"] is not None
    assert known["cured_at"] is None
    assert known["found"].things_here == 1
    assert known["changes"] == []
    assert known["supplied"] == {"Wheel trim": ""}


def test_a_row_that_says_what_it_waits_for_is_not_asked_about(
    curing: Job, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(1):
        facts = facts_of(with_waits(Job.objects.filter(pk=curing.pk), EIGHT), EIGHT)
        assert facts.waits


def test_when_it_has_cured_nothing_runs_and_it_is_known_since_when(curing: Job) -> None:
    later = EIGHT + timedelta(days=2)
    facts = CarFacts(curing, later)
    assert facts.running == []
    assert facts.outside is None
    assert facts.cured_at is not None
    assert EIGHT < facts.cured_at < later


def test_only_the_kinds_of_entry_that_are_wanted_are_read(curing: Job) -> None:
    everything = CarFacts(curing, EIGHT).entries
    moves = CarFacts(curing, EIGHT, kinds=(Kind.MOVED,)).entries
    assert moves == [entry for entry in everything if entry.kind == Kind.MOVED]
    assert 0 < len(moves) < len(everything)


@pytest.mark.usefixtures("curing")
def test_a_car_that_is_not_there_has_no_facts() -> None:
    with pytest.raises(NotFound):
        facts_of(Job.objects.filter(pk=uuid4()), EIGHT)
