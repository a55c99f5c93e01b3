"""The end of a "do not drive": repaired, to be transported or withdrawn, and everybody is told."""

from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.db import connection

from accounts.services import workshop_add
from core.clock import now
from jobs.work.models import Finding, HistoryEntry, Hold, Job
from jobs.work.selectors.jobs.reminders import found_on
from jobs.work.words.jobs.history import sentence
from notifications.mail import notice_mail
from notifications.models import Delivery
from notifications.notice import Notice
from notifications.services.publish import events_publish
from tests.api.found import CLICK, STOP, acknowledge, clear, found, told_of, withdraw
from tests.api.steps import arrived, detail, done, fields, history, moved, ready, refused, told
from tests.scene import Scene, key_api, person_api

SECOND = {"registration": "JX19 KLM", "dealer_ref": "PX-2"}
REASON = "Tapped on the wrong car."


def stored(job: Any) -> Job:
    return Job.objects.get(pk=job["id"])


def said_last(job: Any, kind: str) -> str:
    entry = HistoryEntry.objects.filter(job_id=job["id"], kind=kind).order_by("number").last()
    assert entry is not None
    return sentence(entry)


def test_acknowledged_is_known_and_the_car_stays_where_it_is(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    known = done(acknowledge(scene.dealer_api(), finding))
    assert known["holds_the_job"]
    assert known["must_not_be_driven"]
    assert known["over_how"] == ""
    job = detail(workshop, job)
    assert (job["on_hold"], job["do_not_drive"], job["allowed_moves"]) == (True, True, [])


@pytest.mark.parametrize("who", ["valeter", "manager", "staff"])
def test_repaired_by_whom_and_when_frees_the_car_whoever_of_the_two_sides_saw_it(
    scene: Scene, who: str
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    person = getattr(scene, who)
    over = done(clear(person_api(person), finding))
    assert (over["over_how"], over["over_by"]) == ("repaired", "Corm Mobile Mechanics")
    assert over["over_recorded_by"] == person.name
    assert over["over_side"] == ("dealer" if who == "staff" else "workshop")
    assert not over["must_not_be_driven"]
    assert not over["holds_the_job"]
    job = detail(workshop, job)
    assert (job["on_hold"], job["do_not_drive"]) == (False, False)
    assert "do_not_drive" not in [reminder["code"] for reminder in job["reminders"]]
    assert said_last(job, "finding_cleared").startswith(
        "Repaired (brakes) by Corm Mobile Mechanics,"
    )
    assert moved(workshop, job, "cleaning")["stage"] == "cleaning"


def test_the_dealer_who_clears_it_knows_of_it(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job, STOP)
    over = done(clear(person_api(scene.staff), finding))
    assert over["acknowledged_by"] == scene.staff.name
    kinds = [name for _, name, _ in told_of(finding)]
    assert kinds == ["finding.reported", "finding.acknowledged", "finding.cleared"]


def test_a_car_to_be_transported_goes_on_and_is_still_not_driven_until_it_leaves(
    scene: Scene,
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    at = (now() + timedelta(days=2)).astimezone(UTC).isoformat()
    over = done(clear(workshop, finding, how="transported", by="The dealer's truck", at=at))
    assert datetime.fromisoformat(over["over_at"]) == datetime.fromisoformat(at)
    assert over["must_not_be_driven"]
    assert not over["holds_the_job"]
    job = moved(workshop, detail(workshop, job), "cleaning", "ready")
    assert job["do_not_drive"]
    data = dict(told(job))["job.ready"]
    assert data["job"]["do_not_drive"]
    assert data["reminders"][0]["code"] == "do_not_drive"
    (car,) = done(scene.dealer_api().get("/ready"))["cars"]
    assert (car["do_not_drive"], car["on_hold"]) == (True, False)
    open_on = found_on(stored(job))
    assert (open_on.not_to_be_driven, open_on.danger_not_cleared) == (True, False)
    assert "must still not be driven" in said_last(job, "finding_cleared")


def test_one_to_be_transported_may_be_repaired_after_all_and_not_the_other_way(
    scene: Scene,
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    done(clear(workshop, finding, how="transported"))
    assert done(clear(workshop, finding))["over_how"] == "repaired"
    assert not stored(job).do_not_drive
    before = history(workshop, job)
    again = done(clear(workshop, finding, how="transported", by="Somebody else"))
    assert (again["over_how"], again["over_by"]) == ("repaired", "Corm Mobile Mechanics")
    assert done(withdraw(person_api(scene.manager), finding))["over_how"] == "repaired"
    assert history(workshop, job) == before


@pytest.mark.parametrize("over", [clear, withdraw])
def test_said_again_what_stands_comes_back_and_nobody_is_told_twice(
    scene: Scene, over: Any
) -> None:
    manager, job = person_api(scene.manager), arrived(scene)
    finding = found(manager, job, STOP)
    first = done(over(manager, finding))
    before, notices = history(manager, job), len(told_of(finding))
    assert done(over(manager, finding)) == first
    assert history(manager, job) == before
    assert len(told_of(finding)) == notices


def test_the_hold_ends_when_the_last_of_several_is_over(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    first, second = found(workshop, job, STOP), found(workshop, job, STOP, area="steering")
    done(clear(workshop, first))
    job = detail(workshop, job)
    assert (job["on_hold"], job["do_not_drive"]) == (True, True)
    done(withdraw(person_api(scene.manager), second))
    job = detail(workshop, job)
    assert (job["on_hold"], job["do_not_drive"]) == (False, False)


def test_withdrawn_by_who_reported_it_everybody_who_was_told_is_told_why(scene: Scene) -> None:
    dealer, tam = scene.dealer_api(), person_api(scene.valeter)
    ready_only = {"url": "http://127.0.0.1:9/ready", "event_types": ["job.ready"]}
    done(dealer.post("/webhook-endpoints", ready_only))
    job = arrived(scene, contact_email="ines@brackmoor.example")
    finding = found(tam, job, STOP)
    done(dealer.patch(f"/work-orders/{job['id']}", {"contact_email": "new@brackmoor.example"}))
    over = done(withdraw(tam, finding))
    assert (over["over_how"], over["over_reason"]) == ("withdrawn", REASON)
    assert over["over_by"] == scene.valeter.name
    events_publish()
    (reported, _, _), (withdrawn, name, data) = told_of(finding)
    assert name == "finding.withdrawn"
    assert withdrawn.urgent
    assert (data["reason"], data["job"]["do_not_drive"]) == (REASON, False)
    reached = [
        set(Delivery.objects.filter(event=event).values_list("endpoint__address", flat=True))
        for event in (reported, withdrawn)
    ]
    assert reached[0] == {"http://127.0.0.1:9/ready", "ines@brackmoor.example"}
    assert reached[0] < reached[1]
    assert reached[1] - reached[0] == {"new@brackmoor.example"}
    assert REASON in said_last(job, "withdrawn")
    assert told(job)[-1][0] == "job.released"


def test_what_was_withdrawn_is_acknowledged_by_nobody_and_reminds_of_nothing(scene: Scene) -> None:
    tam, job = person_api(scene.valeter), ready(scene)
    done(withdraw(tam, found(tam, job, STOP)))
    codes = [reminder["code"] for reminder in detail(tam, job)["reminders"]]
    assert "do_not_drive" not in codes
    assert "findings_not_acknowledged" not in codes
    assert done(tam.post(f"/jobs/{job['id']}/collection", {"confirm": True}))["collected_at"]


@pytest.mark.parametrize("who", ["manager", "owner"])
def test_a_manager_withdraws_what_somebody_else_reported(scene: Scene, who: str) -> None:
    job = arrived(scene)
    finding = found(person_api(scene.valeter), job, STOP)
    assert done(withdraw(person_api(getattr(scene, who)), finding))["over_how"] == "withdrawn"


def test_nobody_else_withdraws_it(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(person_api(scene.manager), job, STOP)
    problem = refused(withdraw(person_api(scene.valeter), finding), 403)
    assert "manager" in problem["next_step"]
    assert refused(withdraw(scene.dealer_api(), finding), 403)
    assert stored(job).do_not_drive
    stranger = key_api(workshop_add(name="Elsewhere Valeting"))
    assert withdraw(stranger, finding).status_code == 404
    assert clear(stranger, finding).status_code == 404


def test_both_e_mails_say_in_the_subject_what_is_so_now(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    subjects, bodies = [], []
    for over, more in ((clear, {}), (clear, {"how": "transported"}), (withdraw, {})):
        finding = found(workshop, job, STOP)
        done(over(person_api(scene.manager), finding, **more))
        event = told_of(finding)[-1][0]
        mail = notice_mail(notice=Notice(event.id, event.type, event.body), address="a@b.example")
        subjects.append(mail.subject)
        bodies.append(str(mail.body))
    pedal = "The brake pedal sinks under a steady foot."
    assert subjects == [
        f"TU21 ABC: Repaired (brakes): {pedal}",
        f"TU21 ABC: Will be transported, must not be driven (brakes): {pedal}",
        f"TU21 ABC: “Do not drive” withdrawn (brakes): {pedal}",
    ]
    assert "Corm Mobile Mechanics" in bodies[0]
    assert "It must still not be driven" in bodies[1]
    assert REASON in bodies[2]


def test_every_wrong_field_is_named(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    path = f"/findings/{finding['id']}/clear"
    assert fields(workshop.post(path, {"how": "driven", "at": "soon"})) == ["how", "by", "at"]
    assert fields(clear(workshop, finding, by=" ")) == ["by"]
    assert fields(workshop.post(f"/findings/{finding['id']}/withdraw", {})) == ["reason"]
    late = (now() + timedelta(days=1)).isoformat()
    early = (now() - timedelta(days=9)).isoformat()
    assert fields(clear(workshop, finding, at=late)) == ["at"]
    assert fields(clear(workshop, finding, at=early)) == ["at"]
    years = (now() + timedelta(days=400)).isoformat()
    assert fields(clear(workshop, finding, how="transported", at=years)) == ["at"]
    assert stored(job).do_not_drive


def test_any_other_finding_is_neither_cleared_nor_withdrawn(scene: Scene) -> None:
    manager, job = person_api(scene.manager), arrived(scene)
    finding = found(manager, job, CLICK)
    for answer in (clear(manager, finding), withdraw(manager, finding)):
        assert refused(answer, 409, "refused")["code"] == "not_do_not_drive"
    assert Finding.objects.get(pk=finding["id"]).over_how == ""


def test_after_the_car_has_gone_its_story_can_still_be_finished(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    finding = found(workshop, job, STOP)
    done(
        workshop.post(f"/jobs/{job['id']}/collection", {"reason": "On a trailer.", "confirm": True})
    )
    done(clear(scene.dealer_api(), finding))
    assert not stored(job).do_not_drive
    assert detail(workshop, job)["on_hold"] is False


def test_lists_are_narrowed_to_the_cars_that_must_not_be_driven(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    arrived(scene, registration="JX19 KLM", dealer_ref="PX-2")
    found(workshop, job, STOP)
    rows = done(workshop.get("/jobs?do_not_drive=true"))["results"]
    assert [row["id"] for row in rows] == [job["id"]]


def test_what_was_acknowledged_before_stays_released_and_counts_as_not_over(scene: Scene) -> None:
    workshop, job, second_job = scene.workshop_api(), arrived(scene), arrived(scene, **SECOND)
    finding = found(workshop, job, STOP)
    done(acknowledge(scene.dealer_api(), finding))
    Hold.objects.update(ended_at=now())
    Job.objects.update(do_not_drive=False, open_holds=0)
    mark_jobs = import_module("jobs.work.migrations.0008_fuel").mark_jobs
    mark_jobs(apps, connection.schema_editor())
    assert (stored(job).do_not_drive, stored(job).open_holds) == (True, 0)
    assert not stored(second_job).do_not_drive
    over = done(clear(workshop, finding))
    assert (over["over_how"], stored(job).do_not_drive) == ("repaired", False)
