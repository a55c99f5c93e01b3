"""Do not drive: told at once everywhere, and the job waits until that is over."""

from typing import Any

import pytest
from django.core.mail import EmailMessage

from jobs.work.calc.stages.machine import replay
from jobs.work.models import Job
from notifications.mail import notice_mail
from notifications.models import Delivery, Endpoint
from notifications.notice import Notice
from notifications.services.publish import events_publish
from tests.api.found import PAPERS, SECRETS, STOP, acknowledge, clear, found, told_of
from tests.api.steps import arrived, detail, done, history, moved, ready, refused, told
from tests.scene import Api, Scene, person_api


def open_holds(api: Api, job: Any) -> list[Any]:
    return [hold for hold in detail(api, job)["holds"] if hold["ended_at"] is None]


def release(api: Api, job: Any, hold: Any) -> Any:
    return api.post(f"/jobs/{job['id']}/holds/{hold['id']}/release")


def collect(api: Api, job: Any, reason: str = "") -> Any:
    return api.post(f"/jobs/{job['id']}/collection", {"reason": reason, "confirm": True})


def codes(api: Api, job: Any) -> list[str]:
    return [reminder["code"] for reminder in detail(api, job)["reminders"]]


def mailed(finding: Any) -> EmailMessage:
    """Return the e-mail that tells of a finding."""
    event = told_of(finding)[0][0]
    return notice_mail(notice=Notice(event.id, event.type, event.body), address="a@b.example")


def replayed(job: Any) -> bool:
    stored = Job.objects.get(pk=job["id"])
    steps = [entry.step for entry in stored.history.order_by("number")]
    return replay(steps) == stored.state


def test_it_is_urgent_goes_to_the_contact_too_and_waits_behind_nothing(scene: Scene) -> None:
    job = arrived(scene, contact_email="ines@brackmoor.example")
    finding = found(scene.workshop_api(), job, STOP)
    ((event, name, data),) = told_of(finding)
    assert name == "finding.reported"
    assert event.urgent
    assert event.also_to == "ines@brackmoor.example"
    assert str(event.subject_id) == finding["id"]
    assert (data["weight"], data["weight_words"]) == ("do_not_drive", "do not drive")
    assert "qualified technician must inspect" in data["caution"]


def test_it_goes_to_the_dealers_own_address_where_the_order_names_no_contact(scene: Scene) -> None:
    finding = found(scene.workshop_api(), arrived(scene), STOP)
    assert told_of(finding)[0][0].also_to == "stock@brackmoor.example"


def test_the_e_mail_says_it_in_its_subject_and_belongings_say_nothing(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    stop, papers = mailed(found(workshop, job, STOP)), mailed(found(workshop, job, PAPERS))
    assert stop.subject == (
        "TU21 ABC: Do not drive (brakes): The brake pedal sinks under a steady foot."
    )
    assert "Weight: do not drive\n" in str(stop.body)
    assert str(stop.body).count("do not drive\n") == 1
    assert "qualified technician must inspect" in str(stop.body)
    assert "Next step: The dealer acknowledges this, in its own system or by " in str(stop.body)
    assert "Next step" not in str(papers.body)
    assert papers.subject == (
        "TU21 ABC: Belongings or personal data were found; sign in to see what."
    )
    assert not [word for word in SECRETS if word in str(papers.body)]


@pytest.mark.parametrize("kind", ["interior", "provenance", "missing_or_extra"])
def test_whatever_kind_it_is_it_carries_the_caution(scene: Scene, kind: str) -> None:
    finding = found(scene.workshop_api(), arrived(scene), STOP, kind=kind)
    assert "qualified technician must inspect" in finding["caution"]
    assert told_of(finding)[0][2]["caution"] == finding["caution"]


def test_every_endpoint_that_is_on_gets_it_whatever_it_asked_for(scene: Scene) -> None:
    dealer = scene.dealer_api()
    done(dealer.post("/webhook-endpoints", {"url": "http://127.0.0.1:9/all"}))
    ready_only = {"url": "http://127.0.0.1:9/ready", "event_types": ["job.ready"]}
    done(dealer.post("/webhook-endpoints", ready_only))
    mail = {"email": "desk@brackmoor.example", "event_types": ["job.ready"]}
    done(dealer.post("/email-recipients", mail))
    job = arrived(scene, contact_email="ines@brackmoor.example")
    finding = found(scene.workshop_api(), job, STOP)
    events_publish()
    reached = Delivery.objects.filter(event__number=told_of(finding)[0][0].number)
    assert set(reached.values_list("endpoint__address", flat=True)) == {
        *Endpoint.objects.values_list("address", flat=True),
        "ines@brackmoor.example",
    }
    assert reached.count() == 4


def test_the_job_waits_until_it_is_repaired_though_the_dealer_knows(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    assert finding["holds_the_job"]
    (hold,) = open_holds(workshop, job)
    assert hold["cause"] == "decision"
    assert "Do not drive" in hold["reason"]
    name, data = told(job)[-1]
    assert (name, data["hold_id"], data["cause"]) == ("job.held", hold["id"], "decision")
    now_at = detail(workshop, job)
    assert (now_at["on_hold"], now_at["allowed_moves"]) == (True, [])
    version = now_at["version"]
    answer = workshop.post(f"/jobs/{job['id']}/moves", {"to": "cleaning", "version": version})
    assert refused(answer, 409)["code"] == "held"
    task = now_at["tasks"][0]
    answer = workshop.post(f"/jobs/{job['id']}/tasks/{task['id']}/start")
    assert refused(answer, 409)["code"] == "held"
    assert done(acknowledge(scene.dealer_api(), finding))["holds_the_job"]
    event, name, _ = told_of(finding)[-1]
    assert (name, str(event.subject_id)) == ("finding.acknowledged", finding["id"])
    assert open_holds(workshop, job) == [hold]
    answer = workshop.post(f"/jobs/{job['id']}/moves", {"to": "cleaning", "version": version})
    assert refused(answer, 409)["code"] == "held"
    assert not done(clear(workshop, finding))["holds_the_job"]
    assert open_holds(workshop, job) == []
    name, data = told(job)[-1]
    assert (name, data["hold_id"]) == ("job.released", hold["id"])
    kinds = [entry["kind"] for entry in history(workshop, job)][-5:]
    assert kinds == ["finding", "held", "finding_seen", "finding_cleared", "released"]
    assert moved(workshop, detail(workshop, job), "cleaning")["stage"] == "cleaning"
    assert replayed(job)


@pytest.mark.parametrize("who", ["valeter", "manager", "owner"])
def test_nobody_at_the_workshop_releases_it_by_hand(scene: Scene, who: str) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    (hold,) = open_holds(workshop, job)
    before = history(workshop, job)
    problem = refused(release(person_api(getattr(scene, who)), job, hold), 409, "refused")
    assert problem["code"] == "not_cleared"
    assert "repaired" in problem["next_step"]
    assert problem["current"]["on_hold"]
    assert history(workshop, job) == before
    done(acknowledge(person_api(scene.manager), finding, told="Ines, by telephone"))
    assert refused(release(workshop, job, hold), 409)["code"] == "not_cleared"
    done(clear(person_api(scene.manager), finding))
    assert refused(release(workshop, job, hold), 409)["code"] == "released"


def test_other_holds_end_as_ever_and_each_finding_has_its_own(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(workshop.post(f"/jobs/{job['id']}/holds", {"cause": "parts"}))
    first = found(workshop, job, STOP)
    second = found(workshop, job, STOP, area="steering")
    parts, first_hold, second_hold = open_holds(workshop, job)
    done(release(workshop, job, parts))
    done(clear(scene.dealer_api(), first))
    assert [hold["id"] for hold in open_holds(workshop, job)] == [second_hold["id"]]
    assert refused(release(workshop, job, second_hold), 409)["code"] == "not_cleared"
    assert refused(release(workshop, job, first_hold), 409)["code"] == "released"
    done(clear(scene.dealer_api(), second))
    assert detail(workshop, job)["on_hold"] is False
    assert replayed(job)


def test_a_car_that_is_ready_does_not_leave_in_silence(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    finding = found(workshop, job, STOP)
    assert codes(workshop, job)[:2] == ["do_not_drive", "findings_not_acknowledged"]
    dealer = scene.dealer_api()
    held = dealer.get("/ready")
    assert [car["on_hold"] for car in done(held)["cars"]] == [True]
    problem = refused(collect(workshop, job), 409, "refused")
    assert problem["code"] == "not_acknowledged"
    assert [car["do_not_drive"] for car in done(held)["cars"]] == [True]
    done(clear(dealer, finding, how="transported"))
    freed = dealer.get("/ready", **{"If-None-Match": held.headers["ETag"]})
    assert [car["on_hold"] for car in done(freed)["cars"]] == [False]
    assert [car["do_not_drive"] for car in done(freed)["cars"]] == [True]
    reminder = detail(workshop, job)["reminders"][0]
    assert reminder["code"] == "do_not_drive"
    assert "transporter" in reminder["text"]
    done(collect(workshop, job))
    name, data = told(job)[-1]
    assert name == "job.collected"
    assert data["reminders"][0]["code"] == "do_not_drive"
    assert replayed(job)


def test_a_car_taken_away_all_the_same_leaves_the_reason_and_what_was_open(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    finding = found(workshop, job, STOP)
    done(collect(workshop, job, "Fetched on a trailer; Ines knows."))
    entry = history(workshop, job)[-1]
    assert entry["reason"] == "Fetched on a trailer; Ines knows."
    assert "do_not_drive" in entry["data"]["left_open"]
    assert "findings_not_acknowledged" in entry["data"]["left_open"]
    done(clear(scene.dealer_api(), finding, how="transported"))
    assert detail(workshop, job)["on_hold"] is False
    assert replayed(job)


def test_where_the_order_was_cancelled_it_is_told_and_nothing_is_left_to_hold(
    scene: Scene,
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    finding = found(workshop, job, STOP)
    ((event, _, _),) = told_of(finding)
    assert event.urgent
    assert not finding["holds_the_job"]
    assert detail(workshop, job)["on_hold"] is False
    assert refused(collect(workshop, job), 409)["code"] == "not_acknowledged"
    done(acknowledge(scene.dealer_api(), finding))
    done(collect(workshop, job))
    assert replayed(job)


def test_an_order_cancelled_while_it_waits_still_waits_until_it_is_over(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, STOP)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    (hold,) = open_holds(workshop, job)
    assert refused(release(workshop, job, hold), 409)["code"] == "not_cleared"
    done(clear(scene.dealer_api(), finding))
    assert open_holds(workshop, job) == []
    assert replayed(job)
