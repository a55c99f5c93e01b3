"""A wait that changes is written down and told, with the reason; small changes are not."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import ClimateSetup, HistoryEntry, Job, WaitClock
from jobs.work.services.curing import clocks
from jobs.work.tasks import settle_clocks, work_out_clocks
from jobs.work.words.jobs.history import sentence
from notifications.mail import notice_mail
from notifications.models import Event
from notifications.notice import Notice
from tests.api.clock_steps import (
    EIGHT,
    after,
    ends_of,
    every_half_hour,
    finished,
    in_curing,
    measured,
    move,
    said,
)
from tests.api.steps import arrived, done, history, moved, told
from tests.scene import Scene, person_api

SECOND = timedelta(seconds=1)


def changes(job: Any) -> list[Any]:
    return [data for name, data in told(job) if name == "job.wait_changed"]


def colder_by_noon(scene: Scene, clock: Any) -> Any:
    """Return a car dressed at eight at 12 °C; by noon it turns out that it got cold after nine."""
    measured(scene, (EIGHT, 12.0))
    job = in_curing(scene, "trim_dressing")
    clock.move_to(after(hours=1))
    measured(scene, (after(hours=1), 12.0))
    work_out_clocks()
    clock.move_to(after(hours=3.9))
    measured(scene, *every_half_hour(after(hours=2), after(hours=3.5), 6.5))
    return job


def test_colder_by_noon_makes_the_dealer_hear_of_it_with_the_reason(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = colder_by_noon(scene, clock)
        was = Job.objects.get(pk=job["id"]).waits_told
        work_out_clocks()
        data = changes(job)[-1]
        entry = HistoryEntry.objects.filter(kind="wait_moved").order_by("number").last()
    found = WaitClock.objects.get()
    assert was is not None
    assert was < after(hours=4) < ends_of(found)
    assert data["reason"] == "It was colder than before: 6.5 °C in the workshop."
    assert data["headline"] == "What cures or dries on it needs longer than was told."
    assert (data["was"], data["until"]) == (moment(was), moment(found.ends_at))
    assert found.earliest_at is not None
    assert data["earliest"] == moment(found.earliest_at)
    assert entry is not None
    assert entry.actor == "The service"
    assert "later than was told" in sentence(entry)
    assert sentence(entry).endswith("It was colder than before: 6.5 °C in the workshop.")
    assert Job.objects.get(pk=job["id"]).waits_told == found.ends_at


def moment(at: Any) -> str:
    return str(at.isoformat().replace("+00:00", "Z"))


def test_warmer_is_told_as_sooner(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 12.0))
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 21.0))
        work_out_clocks()
        (data,) = changes(job)
    assert data["until"] < data["was"]
    assert data["reason"] == "It was warmer than before: 21.0 °C in the workshop."
    assert data["headline"].endswith("sooner than was told.")


def test_the_first_reading_of_all_is_told_as_such(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(minutes=10))
        measured(scene, (after(minutes=10), 10.0))
        work_out_clocks()
        (data,) = changes(job)
    assert data["reason"] == "The air is measured now: 10.0 °C in the workshop."


def test_of_drying_the_humidity_is_told_too(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 15.0), humidity=60.0)
        job = moved(workshop, arrived(scene, operations=["wet_extraction"]), "cleaning")
        finished(workshop, job, "wet_extraction")
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 13.0), humidity=82.0)
        work_out_clocks()
        (data,) = changes(job)
    assert data["reason"] == (
        "The air takes up less water than before: 13.0 °C and 82 % in the workshop."
    )


@pytest.mark.parametrize(
    ("minute", "celsius", "words"),
    [(60, -4.0, "It is too cold"), (-150, 3.0, "It may get too cold")],
)
def test_what_stands_still_or_may_is_told_so(
    scene: Scene, minute: int, celsius: float, words: str
) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (after(minutes=minute), celsius))
        work_out_clocks()
        (data,) = changes(job)
    assert data["reason"] == f"{words} for it to go on: {celsius} °C in the workshop."
    assert data["until"] is None  # nobody can say; a date that is two weeks off would be believed
    assert data["was"] is not None
    assert Job.objects.get(pk=job["id"]).waits_told is None


def test_when_it_goes_on_again_no_time_from_before_is_told(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        measured(scene, (EIGHT, 3.0))
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 21.0))
        work_out_clocks()
        (data,) = changes(job)
    assert data["was"] is None
    assert said(after(hours=2)) < data["until"] < said(after(hours=4))
    assert data["headline"].endswith("sooner than was told.")


def test_less_than_five_minutes_are_not_told_until_they_add_up(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=2.9))
        measured(scene, *every_half_hour(EIGHT, after(hours=2.5), 14.7))
        work_out_clocks()
        assert changes(job) == []
        assert ends_of(WaitClock.objects.get()) > after(hours=3, minutes=3)
        measured(scene, (after(hours=2.6), 11.0))
        work_out_clocks()
        (data,) = changes(job)
    assert data["was"] == said(after(hours=3))


def test_a_clock_that_starts_is_told_by_nobody(scene: Scene) -> None:
    workshop = scene.workshop_api()
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = moved(
            workshop, arrived(scene, operations=["tyre_dressing", "trim_dressing"]), "correction"
        )
        finished(workshop, job, "tyre_dressing")
        assert Job.objects.get().waits_told == after(minutes=30)
        clock.move_to(after(minutes=5))
        finished(workshop, job, "trim_dressing")
        assert Job.objects.get().waits_told == after(minutes=185)
        work_out_clocks()
    assert changes(job) == []


def test_only_the_last_clock_is_told_of(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "coating", "trim_dressing")
        WaitClock.objects.filter(task__operation="coating").update(reference_minutes=None)
        clock.move_to(after(hours=2))
        measured(scene, *every_half_hour(EIGHT, after(hours=2), 10.0))
        work_out_clocks()
    assert ends_of(WaitClock.objects.get(task__operation="trim_dressing")) > after(hours=3.5)
    assert changes(job) == []  # the coating takes twelve hours whatever the dressing does


def test_a_reading_that_comes_late_makes_a_clock_run_again_that_had_ended(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=3, minutes=1))
        settle_clocks()
        assert WaitClock.objects.get().settled_at is not None
        measured(scene, *every_half_hour(EIGHT, after(hours=3), 7.0))
        settle_clocks()
        assert WaitClock.objects.get().settled_at is None
        (data,) = changes(job)
        until = after(minutes=180 * 2**0.8)  # as cold as it was, until somebody measures again
        assert data["was"] == said(after(hours=3))
        assert abs(datetime.fromisoformat(data["until"]) - until) < timedelta(seconds=1)
        assert ends_of(WaitClock.objects.get()) > after(hours=5)
        assert move(scene.workshop_api(), job, "ready").status_code == 409
        clock.move_to(after(hours=6))
        measured(scene, *every_half_hour(after(hours=3.5), after(hours=6), 7.0))
        settle_clocks()
        kinds = [entry["kind"] for entry in history(scene.workshop_api(), job)]
    assert kinds.count("cured") == 2


def test_what_was_over_and_stays_over_is_no_news(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=8))
        measured(scene, *every_half_hour(EIGHT, after(hours=8), 8.0))
        work_out_clocks()
    assert ends_of(WaitClock.objects.get()) > after(hours=4)
    assert changes(job) == []


def test_of_a_car_that_is_ready_nobody_is_told(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        manager = person_api(scene.manager)
        job = in_curing(scene, "trim_dressing")
        done(move(manager, job, "ready", override=True, reason="It goes into a warm hall."))
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 6.0))
        work_out_clocks()
    assert changes(job) == []
    assert WaitClock.objects.get().basis == "gaps"


def test_the_wake_up_may_be_lost_for_the_sweep_finds_the_readings(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        job = in_curing(scene, "trim_dressing")
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 6.0))
        assert ClimateSetup.objects.get().clocks_due is True
        settle_clocks()
        assert ClimateSetup.objects.get().clocks_due is False
        assert len(changes(job)) == 1
        settle_clocks()
    assert len(changes(job)) == 1


def test_one_car_that_fails_does_not_keep_the_others_from_their_times(
    scene: Scene, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        bad = in_curing(scene, "trim_dressing")
        good = in_curing(scene, "trim_dressing", dealer_ref="", registration="TU21 ABD")
        clock.move_to(after(hours=1))
        measured(scene, (after(hours=1), 11.0))
        whole = clocks.renew

        def renew(job: Job, **more: Any) -> Any:
            if str(job.pk) == bad["id"]:
                raise RuntimeError("Broken on purpose.")
            return whole(job, **more)

        monkeypatch.setattr("jobs.work.services.curing.settling.renew", renew)
        work_out_clocks()
        assert (changes(bad), len(changes(good))) == ([], 1)
        clock.move_to(after(hours=20))
        settle_clocks()
    assert [wait.job_id for wait in WaitClock.objects.filter(settled_at=None)] == [
        WaitClock.objects.get(job=bad["id"]).job_id
    ]
    assert "clocks_not_worked_out" in caplog.text
    assert "clocks_not_settled" in caplog.text


def test_an_e_mail_says_it_in_plain_words(scene: Scene) -> None:
    with time_machine.travel(EIGHT, tick=False) as clock:
        colder_by_noon(scene, clock)
        work_out_clocks()
    event = Event.objects.filter(type="job.wait_changed").latest("number")
    notice = Notice(id=event.id, type=event.type, body=event.body)
    mail = notice_mail(notice=notice, address="stock@brackmoor.example")
    assert mail.subject == "TU21 ABC: What cures or dries on it needs longer than was told."
    assert "It was colder than before: 6.5 °C in the workshop." in str(mail.body)
    assert "Until: Mon 1 Mar 2027, 12:" in str(mail.body)
