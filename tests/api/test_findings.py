"""Findings over the API: reported with evidence, told at once, acknowledged once."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from core.clock import now
from jobs.work.models import Finding
from jobs.work.services.findings import findings as service
from notifications.models import Event
from tests.api.found import CLICK, PAPERS, SECRETS, STOP, acknowledge, found, photo, report, told_of
from tests.api.steps import (
    NOWHERE,
    arrived,
    at_once,
    done,
    fields,
    history,
    moved,
    posted,
    refused,
)
from tests.scene import Scene, key_api, make_scene, person_api


def listed(api: Any, job: Any) -> list[Any]:
    return list(done(api.get(f"/jobs/{job['id']}/findings"))["findings"])


def test_a_finding_reaches_the_dealer_with_pictures_and_caution(scene: Scene) -> None:
    workshop, job = person_api(scene.valeter), arrived(scene)
    photos = [photo(job), photo(job)]
    answer = report(workshop, job, photo_ids=photos)
    finding = done(answer)
    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/api/v1/findings/{finding['id']}"
    assert {name: finding[name] for name in CLICK} == CLICK
    assert finding["weight_words"] == "needs attention before sale"
    assert finding["area_name"] == "left front wheel and tyre"
    assert "qualified technician must inspect" in finding["caution"]
    assert finding["actor"] == "Tam Brackley"
    assert finding["belonging"] is None
    assert not finding["holds_the_job"]
    ((event, name, data),) = told_of(finding)
    assert (name, event.urgent, event.also_to) == ("finding.reported", False, "")
    assert str(event.subject_id) == job["id"]
    assert {key: data[key] for key in CLICK} == CLICK
    assert data["caution"] == finding["caution"]
    assert not data["withheld"]
    for pictures in (finding["pictures"], data["pictures"]):
        assert [picture["id"] for picture in pictures] == photos
        assert all(set(picture["links"]) == {"320", "1280"} for picture in pictures)
    for api in (workshop, scene.dealer_api()):
        assert listed(api, job) == [finding]
        assert done(api.get(f"/findings/{finding['id']}")) == finding
    entry = history(scene.dealer_api(), job)[-1]
    assert (entry["kind"], entry["actor"]) == ("finding", "Tam Brackley")
    assert entry["data"]["finding_id"] == finding["id"]
    assert entry["data"]["noticed"] == CLICK["noticed"]


def test_it_leaves_the_version_alone_so_that_no_queued_move_goes_stale(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    found(workshop, job)
    assert moved(workshop, job, "cleaning")["stage"] == "cleaning"


def test_what_is_said_twice_is_seen_twice_and_in_order(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    made = [found(workshop, job, noticed=f"Number {count}.") for count in range(5)]
    assert [finding["id"] for finding in listed(workshop, job)] == [
        finding["id"] for finding in made
    ]


def test_a_ready_phrase_fills_in_what_is_not_given(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    by_phrase = {"phrase": "click_full_lock", "area": "right_front_wheel"}
    finding = found(workshop, job, {**by_phrase, "weight": "do_not_drive", "advice": ""})
    assert finding["kind"] == "mechanical"
    assert finding["weight"] == "do_not_drive"
    assert finding["noticed"] == "A regular clicking from a front wheel."
    assert finding["circumstance"] == "On full lock, moving"
    assert finding["advice"] == ""
    done(workshop.patch("/phrases/click_full_lock", {"noticed": "It ticks.", "hidden": True}))
    assert found(workshop, job, by_phrase)["noticed"] == "It ticks."


def test_a_phrase_of_another_workshop_or_of_none_is_unknown(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    own = {**CLICK, "code": "theirs", "group": "noises"}
    del own["area"]
    done(key_api(scene.stranger_workshop).post("/phrases", own))
    for code in ("theirs", "no_such"):
        assert fields(report(workshop, job, {"phrase": code, "area": "roof"})) == ["phrase"]


def test_every_wrong_field_is_named_at_once(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    assert fields(report(workshop, job, {})) == ["area", "kind", "weight", "noticed"]
    wrong = {
        "kind": "noise",
        "weight": "heavy",
        "area": "left_fender_badge",
        "noticed": "",
        "circumstance": "x" * 201,
        "advice": None,
        "photo_ids": ["seven"],
        "occurred_at": (now() + timedelta(hours=1)).isoformat(),
        "price": 4,
    }
    named = fields(report(workshop, job, wrong))
    assert {name.split(".")[0] for name in named} == set(wrong)
    assert Finding.objects.count() == 0


def test_photographs_and_belongings_that_do_not_fit_are_named_together(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    second_job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    foreign = [photo(second_job), NOWHERE]
    answer = report(workshop, job, belonging=PAPERS["belonging"], photo_ids=foreign)
    assert fields(answer) == ["belonging", "photo_ids"]
    assert all(photo_id in answer.json()["detail"] for photo_id in foreign)
    without = {name: value for name, value in PAPERS.items() if name != "belonging"}
    assert fields(report(workshop, job, without)) == ["belonging"]
    assert fields(report(workshop, job, PAPERS, weight="do_not_drive")) == ["weight"]
    assert fields(report(workshop, job, {"phrase": "papers_left", "area": "roof"})) == ["belonging"]
    assert Event.objects.filter(type="finding.reported").count() == 0


def test_things_are_found_while_the_car_is_here_be_the_order_cancelled_or_not(
    scene: Scene,
) -> None:
    workshop, job = scene.workshop_api(), posted(scene.dealer_api())
    assert refused(report(workshop, job), 409)["code"] == "not_arrived"
    done(workshop.post(f"/jobs/{job['id']}/arrival"))
    found(workshop, job)
    done(scene.dealer_api().post(f"/work-orders/{job['id']}/cancel"))
    finding = found(workshop, job)
    assert [name for _, name, _ in told_of(finding)] == ["finding.reported"]
    done(workshop.post(f"/jobs/{job['id']}/collection", {"confirm": True}))
    assert refused(report(workshop, job), 409)["code"] == "collected"


def test_a_job_has_room_for_so_many_findings(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "MOST_FINDINGS", 2)
    workshop, job = scene.workshop_api(), arrived(scene)
    for _ in range(2):
        found(workshop, job)
    assert refused(report(workshop, job), 409)["code"] == "too_many"


def test_the_list_costs_the_same_however_long_it_is(
    scene: Scene, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    dealer = scene.dealer_api()
    listed(dealer, job)  # the first use of a key in a minute is noted
    for count in (1, 4):
        for _ in range(count):
            found(workshop, job, photo_ids=[photo(job), photo(job)])
            found(workshop, job, PAPERS)
            found(workshop, job, STOP)
        # the key; the job, its findings, their photographs and what is stored of each
        with django_assert_num_queries(5):
            listed(dealer, job)


def test_of_belongings_neither_events_nor_history_say_a_word(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job, PAPERS, photo_ids=[photo(job)])
    assert finding["noticed"] == PAPERS["noticed"]
    assert len(finding["pictures"]) == 1
    assert finding["belonging"]["kept_at"] == "Office, drawer 3"
    done(acknowledge(scene.dealer_api(), finding, note="Nan Orrick will ring."))
    assert listed(scene.dealer_api(), job)[0]["acknowledged_note"] == "Nan Orrick will ring."
    (_, _, data), (_, _, seen) = told_of(finding)
    assert data["withheld"]
    assert (data["noticed"], data["circumstance"], data["advice"]) == ("", "", "")
    assert data["pictures"] == []
    assert seen["note"] == ""
    bodies = [event.body for event in Event.objects.all()]
    texts = [*bodies, str(history(workshop, job))]
    assert not [word for word in SECRETS for text in texts if word in text]


def test_both_sides_see_when_the_dealer_acknowledged_and_who_it_was(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job)
    answer = acknowledge(person_api(scene.staff), finding, note="Thank you.")
    seen = done(answer)
    assert seen["acknowledged_at"] is not None
    assert seen["acknowledged_by"] == "Ines Okafor-Lind"
    assert seen["acknowledged_side"] == "dealer"
    assert seen["acknowledged_note"] == "Thank you."
    for api in (workshop, scene.dealer_api()):
        assert listed(api, job) == [seen]
    event, name, data = told_of(finding)[-1]
    assert name == "finding.acknowledged"
    assert str(event.subject_id) == job["id"]
    assert (data["by"], data["side"], data["note"]) == ("Ines Okafor-Lind", "dealer", "Thank you.")
    entry = history(workshop, job)[-1]
    assert (entry["kind"], entry["reason"]) == ("finding_seen", "Thank you.")
    assert entry["data"]["finding_id"] == finding["id"]


def test_acknowledging_again_changes_nothing_and_shows_what_stands(scene: Scene) -> None:
    job = arrived(scene)
    finding = found(scene.workshop_api(), job)
    first = done(acknowledge(person_api(scene.staff), finding, note="Seen."))
    again = acknowledge(scene.dealer_api(), finding, note="Seen by another.")
    told_by_phone = acknowledge(person_api(scene.manager), finding, told="Ines, by telephone")
    assert done(again) == done(told_by_phone) == first
    assert len(told_of(finding)) == 2
    assert [entry["kind"] for entry in history(scene.dealer_api(), job)].count("finding_seen") == 1


def test_a_manager_acknowledges_for_a_dealer_that_was_told_by_telephone(scene: Scene) -> None:
    finding = found(scene.workshop_api(), arrived(scene))
    problem = refused(acknowledge(person_api(scene.valeter), finding, told="Ines"), 403)
    assert problem["required_scope"] == "jobs.override"
    manager = person_api(scene.manager)
    assert fields(acknowledge(manager, finding)) == ["told"]
    seen = done(acknowledge(manager, finding, told="Ines Okafor-Lind, by telephone"))
    assert seen["acknowledged_by"] == "Milo Treen"
    assert seen["acknowledged_side"] == "workshop"
    assert seen["acknowledged_told"] == "Ines Okafor-Lind, by telephone"
    _, _, data = told_of(finding)[-1]
    assert (data["side"], data["told"]) == ("workshop", "Ines Okafor-Lind, by telephone")


def test_nobody_knew_of_it_before_it_was_noticed(scene: Scene) -> None:
    noticed = now() - timedelta(minutes=10)
    finding = found(scene.workshop_api(), arrived(scene), occurred_at=noticed.isoformat())
    before = (noticed - timedelta(seconds=1)).isoformat()
    assert fields(acknowledge(scene.dealer_api(), finding, occurred_at=before)) == ["occurred_at"]
    done(acknowledge(scene.dealer_api(), finding, occurred_at=noticed.isoformat()))


def test_a_tablet_whose_clock_is_a_little_ahead_does_not_keep_the_dealer_waiting(
    scene: Scene,
) -> None:
    ahead = (now() + timedelta(seconds=90)).isoformat()
    finding = found(scene.workshop_api(), arrived(scene), occurred_at=ahead)
    seen = done(acknowledge(scene.dealer_api(), finding))
    assert seen["acknowledged_at"] == finding["occurred_at"]


def test_a_finding_can_be_acknowledged_when_the_car_has_gone(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    finding = found(workshop, job)
    done(
        workshop.post(f"/jobs/{job['id']}/collection", {"reason": "Wanted back.", "confirm": True})
    )
    assert done(acknowledge(scene.dealer_api(), finding))["acknowledged_side"] == "dealer"


def test_a_strangers_finding_and_none_at_all_are_the_same_404(scene: Scene) -> None:
    finding = found(scene.workshop_api(), arrived(scene))
    strangers = (key_api(scene.stranger_dealer), key_api(scene.stranger_workshop))
    for api in strangers:
        for call in ("", "/acknowledge"):
            send = api.post if call else api.get
            body = ({"told": "Somebody"},) if call else ()
            theirs = send(f"/findings/{finding['id']}{call}", *body)
            nothing = send(f"/findings/{NOWHERE}{call}", *body)
            same = {**refused(theirs, 404), "request_id": ""}
            assert same == {**refused(nothing, 404), "request_id": ""}
    assert Finding.objects.get().acknowledged_at is None


@pytest.mark.django_db(transaction=True)
def test_of_two_who_acknowledge_at_once_the_first_stands_for_both() -> None:
    scene = make_scene()
    finding = found(scene.workshop_api(), arrived(scene))
    ines, dealer = person_api(scene.staff), scene.dealer_api()
    answers = at_once(
        lambda: acknowledge(ines, finding, note="One."),
        lambda: acknowledge(dealer, finding, note="Other."),
    )
    assert done(answers[0]) == done(answers[1])
    assert len(told_of(finding)) == 2
