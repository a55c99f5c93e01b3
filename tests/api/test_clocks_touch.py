"""What dries is dry when somebody has felt it: the sums advise, a person's hand confirms."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import HistoryEntry, TouchTest, WaitClock
from jobs.work.tasks import settle_clocks, work_out_clocks
from tests.api.clock_steps import (
    EIGHT,
    after,
    ends_of,
    every_half_hour,
    felt,
    finished,
    measured,
    move,
    said,
)
from tests.api.steps import (
    NOWHERE,
    arrived,
    at_once,
    detail,
    done,
    fields,
    history,
    moved,
    refused,
    told,
)
from tests.scene import Scene, person_api

SEATS = "Wet extraction of seats and carpets"


def wet(scene: Scene) -> tuple[Any, Any]:
    """Return a car in curing with wet seats, which take 240 minutes to dry, and their clock."""
    workshop = scene.workshop_api()
    job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
    clock = finished(workshop, job, "wet_extraction")
    return moved(workshop, job, "curing"), clock


def test_time_alone_does_not_end_it_and_the_refusal_says_what_to_feel(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, _ = wet(scene)
        clock.move_to(after(days=3))
        settle_clocks()
        problem = refused(move(scene.workshop_api(), job, "ready"), 409, "refused")
    assert problem["code"] == "clock_running"
    assert problem["detail"] == f"Nobody has felt yet whether it is dry: {SEATS}."
    assert problem["next_step"].startswith("Feel whether it is dry and record the touch test")
    assert (problem["until"], problem["touch_tests"]) == (None, [SEATS])
    assert not HistoryEntry.objects.filter(kind="cured").exists()


def test_dry_ends_it_however_early_and_it_is_written_down(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        tam = person_api(scene.valeter)
        job, drying = wet(scene)
        clock.move_to(after(hours=2))
        answer = done(felt(tam, job, drying, dry=True, note="Sun on it."))
        assert (answer["touch_test"], answer["closed_at"]) == (True, said(after(hours=2)))
        assert done(move(tam, job, "ready"))["stage"] == "ready"
        entries = [
            entry for entry in history(tam, job) if entry["kind"] in {"touch_tested", "cured"}
        ]
    test = TouchTest.objects.get()
    assert (test.dry, test.note, test.actor) == (True, "Sun on it.", "Tam Brackley")
    assert [entry["kind"] for entry in entries] == ["touch_tested", "cured"]
    assert entries[0]["data"]["name"] == SEATS
    assert (entries[0]["data"]["dry"], entries[0]["reason"]) == (True, "Sun on it.")


def test_found_dry_long_before_is_told_to_the_dealer(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=2))
        done(felt(scene.workshop_api(), job, drying, dry=True))
    ((_, data),) = [event for event in told(job) if event[0] == "job.wait_changed"]
    assert data["reason"] == "It was found dry."
    assert (data["was"], data["until"]) == (said(after(hours=4)), said(after(hours=2)))


@pytest.mark.parametrize(
    ("hours", "due"), [(1.0, 5.0), (4.0, 5.0), (9.0, 10.0)], ids=["early", "in time", "overdue"]
)
def test_damp_gives_it_a_quarter_of_its_minutes_more_and_asks_again(
    scene: Scene, hours: float, due: float
) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=hours))
        answer = done(felt(workshop, job, drying, dry=False))
        assert (answer["closed_at"], answer["ends_at"]) == (None, said(after(hours=due)))
        clock.move_to(after(hours=due, minutes=1))
        assert refused(move(workshop, job, "ready"), 409)["touch_tests"] == [SEATS]
        done(felt(workshop, job, drying, dry=True))
        assert done(move(workshop, job, "ready"))["stage"] == "ready"
    changes = [data for name, data in told(job) if name == "job.wait_changed"]
    assert changes[0]["reason"] == "It is still damp."
    assert changes[0]["until"] == said(after(hours=due))


def test_damp_counts_by_the_air_and_stays_so_when_more_readings_come(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=4))
        measured(scene, *every_half_hour(EIGHT, after(hours=4), 15.0), humidity=60.0)
        done(felt(workshop, job, drying, dry=False))
        clock.move_to(after(hours=5.5))
        measured(scene, *every_half_hour(after(hours=4.5), after(hours=5.5), 15.0), humidity=60.0)
        work_out_clocks()
        found = WaitClock.objects.get()
    assert found.reference_minutes == 300
    assert abs(ends_of(found) - after(hours=5)) < timedelta(minutes=1)


def test_damp_after_dry_opens_it_again(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=3))
        done(felt(workshop, job, drying, dry=True))
        clock.move_to(after(hours=3, minutes=10))
        assert done(felt(workshop, job, drying, dry=False))["closed_at"] is None
        assert refused(move(workshop, job, "ready"), 409)["code"] == "clock_running"
        assert WaitClock.objects.get().settled_at is None


def test_what_was_felt_before_but_told_late_changes_nothing(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=3))
        done(felt(workshop, job, drying, dry=True))
        late = done(felt(workshop, job, drying, dry=False, occurred_at=said(after(hours=2))))
        assert late["closed_at"] == said(after(hours=3))
        assert TouchTest.objects.count() == 2
        assert done(move(workshop, job, "ready"))["stage"] == "ready"


def test_feeling_it_dry_twice_is_no_error_and_the_first_time_stands(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        for hours in (3, 4):
            clock.move_to(after(hours=hours))
            assert done(felt(workshop, job, drying, dry=True))["closed_at"] == said(after(hours=3))
        cured = [entry for entry in history(workshop, job) if entry["kind"] == "cured"]
    assert len(cured) == 1


def test_a_move_from_before_it_was_felt_is_refused_however_late_it_is_told(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        clock.move_to(after(hours=5))
        done(felt(workshop, job, drying, dry=True))
        early = move(workshop, job, "ready", occurred_at=said(after(hours=4.5)))
        assert refused(early, 409)["code"] == "clock_running"
        assert done(move(workshop, job, "ready"))["stage"] == "ready"


def test_a_manager_may_override_what_nobody_has_felt(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        manager = person_api(scene.manager)
        job, _ = wet(scene)
        clock.move_to(after(hours=6))
        reason = "The dealer dries it in its own hall."
        assert done(move(manager, job, "ready", override=True, reason=reason))["stage"] == "ready"
        entry = history(manager, job)[-1]
    assert (entry["data"]["override"], entry["reason"]) == (True, reason)


def test_bad_touch_tests_are_refused_and_say_why(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job, drying = wet(scene)
        dressed = arrived(
            scene, dealer_ref="", registration="TU21 ABD", operations=["trim_dressing"]
        )
        moved(workshop, dressed, "correction")
        cure = finished(workshop, dressed, "trim_dressing")
        clock.move_to(after(hours=1))
        before = felt(workshop, job, drying, dry=True, occurred_at=said(after(hours=-1)))
        assert fields(before) == ["occurred_at"]
        ahead = felt(workshop, job, drying, dry=True, occurred_at=said(after(hours=2)))
        assert fields(ahead) == ["occurred_at"]
        path = f"/jobs/{job['id']}/clocks/{drying['id']}/touch-tests"
        assert fields(workshop.post(path, {"wet": 1, "note": "x" * 301})) == ["dry", "note", "wet"]
        assert refused(felt(workshop, dressed, cure, dry=True), 409)["code"] == "no_touch_test"
        refused(felt(workshop, dressed, drying, dry=True), 404)
        refused(felt(workshop, job, {"id": NOWHERE}, dry=True), 404)
    assert not TouchTest.objects.exists()
    assert "touch_tested" not in [entry["kind"] for entry in history(workshop, job)]


def test_a_car_that_was_collected_is_felt_no_more(scene: Scene) -> None:
    workshop = scene.workshop_api()
    job, drying = wet(scene)
    done(
        workshop.post(
            f"/jobs/{job['id']}/collection",
            {"reason": "Fetched with open windows.", "confirm": True},
        )
    )
    assert refused(felt(workshop, job, drying, dry=True), 409)["code"] == "collected"


@pytest.mark.django_db(transaction=True)
def test_two_hands_at_once_find_it_dry_once(scene: Scene) -> None:
    job, drying = wet(scene)
    apis = [scene.workshop_api() for _ in range(4)]
    answers = at_once(
        *[lambda api=api: felt(api, job, drying, dry=True).status_code for api in apis]
    )
    assert answers == [201] * 4
    assert [entry["kind"] for entry in history(apis[0], job)].count("cured") == 1
    assert detail(apis[0], job)["clocks"][0]["closed_at"] is not None
