"""Belongings and personal data: kept, signed back, wiped, and not passed over on collection."""

from datetime import timedelta
from typing import Any

import pytest

from core.clock import now
from jobs.work.models import Belonging
from notifications.models import Event
from tests.api.found import PAPERS, PHONE, SECRETS, found, report
from tests.api.steps import NOWHERE, arrived, detail, done, fields, history, ready, refused, told
from tests.figures import without_ids
from tests.scene import Api, Scene, key_api


def give_back(api: Api, job: Any, belonging: Any, to: str = "Ines", **more: Any) -> Any:
    path = f"/jobs/{job['id']}/belongings/{belonging['id']}/return"
    return api.post(path, {"returned_to": to, **more})


def wipe(api: Api, job: Any, belonging: Any, *, wiped: bool = True, **more: Any) -> Any:
    path = f"/jobs/{job['id']}/belongings/{belonging['id']}/wiped"
    return api.post(path, {"wiped": wiped, **more})


def kept(api: Api, job: Any, body: Any = PAPERS, **more: Any) -> Any:
    return found(api, job, body, **more)["belonging"]


def collect(api: Api, job: Any, reason: str = "") -> Any:
    return api.post(f"/jobs/{job['id']}/collection", {"reason": reason, "confirm": True})


def codes(api: Api, job: Any) -> list[str]:
    return [reminder["code"] for reminder in detail(api, job)["reminders"]]


def test_a_thing_is_signed_back_once(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    belonging = kept(workshop, job)
    assert belonging["returned_at"] is None
    assert "belongings_here" in codes(workshop, job)
    back = done(give_back(workshop, job, belonging, "Nan Orrick"))
    assert back["returned_to"] == "Nan Orrick"
    assert back["returned_by"] == "tests (Fernhollow Valeting)"
    assert back["returned_at"] is not None
    assert "belongings_here" not in codes(workshop, job)
    listed = done(scene.dealer_api().get(f"/jobs/{job['id']}/findings"))["findings"]
    assert listed[0]["belonging"] == back
    assert refused(give_back(workshop, job, belonging), 409)["code"] == "returned"
    name, data = told(job)[-1]
    assert (name, data["belonging_id"]) == ("belonging.returned", belonging["id"])
    entry = history(workshop, job)[-1]
    assert (entry["kind"], entry["data"]["belonging_id"]) == ("belonging_back", belonging["id"])


@pytest.mark.parametrize("what", ["paired_phone", "saved_destinations", "other_data"])
def test_data_is_wiped_or_left_as_it_is(scene: Scene, what: str) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    belonging = kept(workshop, job, PHONE, belonging={"what": what})
    assert belonging["wiped"] is None
    assert "data_not_wiped" in codes(workshop, job)
    left = done(wipe(workshop, job, belonging, wiped=False))
    assert left["wiped"] is False
    assert "data_not_wiped" in codes(workshop, job)
    wiped = done(wipe(workshop, job, belonging))
    assert wiped["wiped"] is True
    assert wiped["wiped_at"] is not None
    assert "data_not_wiped" not in codes(workshop, job)
    assert done(wipe(workshop, job, belonging)) == wiped
    events = [(name, data["wiped"]) for name, data in told(job) if name == "belonging.wiped"]
    assert events == [("belonging.wiped", False), ("belonging.wiped", True)]
    kinds = [entry["kind"] for entry in history(workshop, job)]
    assert kinds.count("data_wiped") == 2


def test_what_was_wiped_on_the_spot_is_reported_so(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    belonging = kept(workshop, job, PHONE, belonging={"what": "paired_phone", "wiped": True})
    assert belonging["wiped"] is True
    assert belonging["wiped_at"] is not None
    assert "data_not_wiped" not in codes(workshop, job)


def test_things_are_not_wiped_and_data_is_not_handed_back(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    assert refused(wipe(workshop, job, kept(workshop, job)), 409)["code"] == "no_data"
    phone = kept(workshop, job, PHONE)
    assert refused(give_back(workshop, job, phone), 409)["code"] == "no_thing"


@pytest.mark.parametrize(
    ("belonging", "wrong"),
    [
        ({}, ["belonging.what"]),
        ({"what": "item"}, ["belonging.kept_at"]),
        ({"what": "document", "kept_at": "  "}, ["belonging.kept_at"]),
        ({"what": "item", "kept_at": "Safe", "wiped": False}, ["belonging.wiped"]),
        ({"what": "ring", "kept_at": "Safe"}, ["belonging.what"]),
        ({"what": "paired_phone", "wiped": "maybe"}, ["belonging.wiped"]),
        ({"what": "item", "kept_at": "Safe", "worth": 5}, ["belonging.worth"]),
        ([], ["belonging"]),
        ("a ring", ["belonging"]),
        (None, ["belonging"]),
    ],
)
def test_a_belonging_that_is_not_told_rightly_is_refused(
    scene: Scene, belonging: Any, wrong: list[str]
) -> None:
    answer = report(scene.workshop_api(), arrived(scene), PAPERS, belonging=belonging)
    assert fields(answer) == wrong


def test_nothing_is_handed_back_to_nobody_or_before_it_was_found(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    belonging = kept(workshop, job)
    assert fields(give_back(workshop, job, belonging, to=" ")) == ["returned_to"]
    before = (now() - timedelta(hours=1)).isoformat()
    answer = give_back(workshop, job, belonging, occurred_at=before)
    assert fields(answer) == ["occurred_at"]
    answer = wipe(workshop, job, kept(workshop, job, PHONE), occurred_at=before)
    assert fields(answer) == ["occurred_at"]


def test_a_belonging_of_another_job_is_not_found(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), arrived(scene)
    second_job = arrived(scene, dealer_ref="PX-2", registration="JX19 KLM")
    foreign = kept(workshop, second_job)
    for belonging in (foreign, {"id": NOWHERE}):
        refused(give_back(workshop, job, belonging), 404)
        refused(wipe(workshop, job, belonging), 404)
    assert Belonging.objects.get(pk=foreign["id"]).returned_at is None


def test_a_car_does_not_leave_without_its_belongings_in_silence(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    for _ in range(2):
        belonging = kept(workshop, job)
    problem = refused(collect(workshop, job), 409, "refused")
    assert problem["code"] == "belongings_here"
    assert "2" in without_ids(problem["detail"])
    done(give_back(workshop, job, belonging))
    done(collect(workshop, job, "No room in the lorry."))
    entry = history(workshop, job)[-1]
    assert entry["reason"] == "No room in the lorry."
    assert "belongings_here" in entry["data"]["left_open"]
    _, data = told(job)[-1]
    assert data["reason"] == "No room in the lorry."
    assert {reminder["code"] for reminder in data["reminders"]} >= {"belongings_here"}


def test_what_stayed_behind_is_signed_back_later(scene: Scene) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    belonging = kept(workshop, job)
    done(collect(workshop, job, "No room in the lorry."))
    assert "belongings_here" in codes(workshop, job)
    done(give_back(workshop, job, belonging))
    assert "belongings_here" not in codes(workshop, job)


def test_the_dealer_and_the_workshop_alone_see_them_and_no_notice_names_them(
    scene: Scene,
) -> None:
    workshop, job = scene.workshop_api(), ready(scene)
    belonging, phone = kept(workshop, job), kept(workshop, job, PHONE)
    done(give_back(workshop, job, belonging, "Nan Orrick"))
    done(wipe(workshop, job, phone))
    done(collect(workshop, job))
    texts = [event.body for event in Event.objects.all()] + [str(history(workshop, job))]
    assert not [word for word in SECRETS for text in texts if word in text]
    for stranger in (key_api(scene.stranger_dealer), key_api(scene.stranger_workshop)):
        theirs = refused(stranger.get(f"/jobs/{job['id']}/findings"), 404)
        nothing = refused(stranger.get(f"/jobs/{NOWHERE}/findings"), 404)
        assert {**theirs, "request_id": ""} == {**nothing, "request_id": ""}
    refused(give_back(key_api(scene.stranger_workshop), job, belonging), 404)
