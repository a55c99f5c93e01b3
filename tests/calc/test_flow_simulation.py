"""An independent simulator's workshop, fed through the flow figures, comes out as it went in.

ciw (test-only) simulates three stages in a row with people enough to keep up; the theory is the
M/M/c queue of each stage alone, which such a row is (Burke 1956, Jackson 1957; from memory).
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import ciw
import pytest

from jobs.work.calc.flow.course import CarTimes, Cause, Entry, Split, split
from jobs.work.calc.flow.figures import (
    Little,
    StageFlow,
    edges_of,
    limiting,
    little,
    stage_flows,
    total_of,
)
from jobs.work.calc.stages.machine import Stage
from jobs.work.calc.statistics.queueing import queue
from jobs.work.calc.tasks.worktime import Span

START = datetime(2027, 1, 1, tzinfo=UTC)
HOURS = 20_000.0
A_CAR_AN_HOUR = 2.0
HOUR = 3600.0
TOLERANCE = 0.05


@dataclass(frozen=True, slots=True)
class Place:
    """One stage of the simulated workshop: how many people, cars an hour each of them does."""

    stage: Stage
    people: int
    services: float


PLACES = (
    Place(Stage.CLEANING, 3, 1.0),
    Place(Stage.CORRECTION, 1, 3.2),
    Place(Stage.CURING, 4, 0.8),
)


@dataclass(frozen=True, slots=True)
class Simulated:
    """What ciw says itself, and what our figures say of the same cars."""

    utilisation: dict[Stage, float]
    population: dict[Stage, float]
    waits: dict[Stage, list[float]]
    flows: dict[Stage, StageFlow]
    law: Little
    finished: int


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def timed(visits: list[Any]) -> CarTimes:
    """Return one car's records as the service keeps them: moves, and a spell of work a stage."""
    moves = [Entry(PLACES[visit.node - 1].stage, at(visit.arrival_date)) for visit in visits]
    spells = [Span(at(visit.service_start_date), at(visit.service_end_date)) for visit in visits]
    return CarTimes(moves=moves, spells=spells)


def simulate() -> Any:
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(A_CAR_AN_HOUR), None, None],
        service_distributions=[ciw.dists.Exponential(place.services) for place in PLACES],
        number_of_servers=[place.people for place in PLACES],
        routing=[[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]],
    )
    ciw.seed(7)
    simulation = ciw.Simulation(network, tracker=ciw.trackers.NodePopulation())
    simulation.simulate_until_max_time(HOURS)
    return simulation


@pytest.fixture(scope="module")
def workshop() -> Simulated:
    """Simulate once and put every finished car through the split and the figures."""
    simulation = simulate()
    visits: dict[int, list[Any]] = defaultdict(list)
    for record in simulation.get_all_records():
        visits[record.id_number].append(record)
    done: list[Split] = []
    stays: list[tuple[datetime, datetime | None]] = []
    for mine in visits.values():
        mine.sort(key=lambda record: record.node)
        arrived_at = at(mine[0].arrival_date)
        ready_at = at(mine[-1].exit_date) if len(mine) == len(PLACES) else None
        stays.append((arrived_at, ready_at))
        if ready_at is not None:
            done.append(split(timed(mine), arrived_at=arrived_at, ready_at=ready_at))
    totals = total_of(done)
    flows = stage_flows(totals, period_seconds=HOURS * HOUR)
    states = simulation.statetracker.state_probabilities()
    return Simulated(
        utilisation={
            place.stage: float(node.server_utilisation)
            for place, node in zip(PLACES, simulation.transitive_nodes, strict=True)
        },
        population={
            place.stage: float(sum(state[index] * share for state, share in states.items()))
            for index, place in enumerate(PLACES)
        },
        waits={
            place.stage: [
                record.waiting_time
                for mine in visits.values()
                for record in mine
                if record.node == node
            ]
            for node, place in enumerate(PLACES, start=1)
        },
        flows={flow.stage: flow for flow in flows},
        law=little(
            period_seconds=HOURS * HOUR,
            finished=totals.cars,
            lead_seconds=totals.lead_seconds,
            edges=edges_of(stays, start=START, end=at(HOURS)),
        ),
        finished=totals.cars,
    )


@pytest.mark.parametrize("place", PLACES, ids=lambda place: str(place.stage))
def test_each_stage_agrees_with_the_simulator_itself(workshop: Simulated, place: Place) -> None:
    flow = workshop.flows[place.stage]
    waits = workshop.waits[place.stage]
    assert flow.busy / place.people == pytest.approx(
        workshop.utilisation[place.stage], rel=TOLERANCE
    )
    assert flow.inside == pytest.approx(workshop.population[place.stage], rel=TOLERANCE)
    assert flow.waited_for / flow.cars / HOUR == pytest.approx(
        sum(waits) / len(waits), rel=TOLERANCE
    )


@pytest.mark.parametrize("place", PLACES, ids=lambda place: str(place.stage))
def test_each_stage_agrees_with_the_theory(workshop: Simulated, place: Place) -> None:
    flow = workshop.flows[place.stage]
    theory = queue(arrivals=A_CAR_AN_HOUR, services=place.services, people=place.people)
    assert flow.busy / place.people == pytest.approx(theory.load, rel=TOLERANCE)
    assert flow.inside == pytest.approx(theory.inside, rel=TOLERANCE)
    assert flow.time / HOUR == pytest.approx(theory.time, rel=TOLERANCE)
    assert flow.waiting / flow.cars / HOUR == pytest.approx(theory.wait, rel=TOLERANCE)
    assert flow.causes[Cause.WORKING] / flow.cars / HOUR == pytest.approx(
        1 / place.services, rel=TOLERANCE
    )


def test_the_whole_workshop_keeps_littles_law(workshop: Simulated) -> None:
    inside = sum(
        queue(arrivals=A_CAR_AN_HOUR, services=place.services, people=place.people).inside
        for place in PLACES
    )
    assert workshop.finished > 39_000
    assert workshop.law.rate * HOUR == pytest.approx(A_CAR_AN_HOUR, rel=TOLERANCE)
    assert workshop.law.inside == pytest.approx(sum(workshop.population.values()), rel=TOLERANCE)
    assert workshop.law.inside == pytest.approx(inside, rel=TOLERANCE)
    assert workshop.law.by_law == pytest.approx(workshop.law.inside, rel=0.005)


def test_the_limiting_stage_is_the_one_whose_people_cars_spend_most_time_with(
    workshop: Simulated,
) -> None:
    most = limiting(list(workshop.flows.values()))
    times = {
        place.stage: queue(
            arrivals=A_CAR_AN_HOUR, services=place.services, people=place.people
        ).time
        for place in PLACES
    }
    assert most is not None
    assert most.stage is max(times, key=lambda stage: times[stage])
