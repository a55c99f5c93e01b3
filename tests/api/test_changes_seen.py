"""A dealer's change of scope while the car is here stands out until the workshop has seen it."""

from typing import Any

import pytest

from jobs.work.models import ScopeChange
from tests.api.steps import NOWHERE, arrived, at_once, detail, done, history, posted, refused, told
from tests.figures import without_ids
from tests.scene import Api, Scene, key_api, person_api


def changed(scene: Scene, job: Any, **changes: Any) -> int:
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", changes))
    return int(history(scene.dealer_api(), job)[-1]["number"])


def see(api: Api, job: Any, number: int) -> Any:
    return api.post(f"/jobs/{job['id']}/changes/{number}/seen")


def test_a_change_is_shown_until_it_is_seen_and_both_see_when(scene: Scene) -> None:
    job = arrived(scene)
    number = changed(scene, job, operations=["wash_body", "glass"], cap_amount="80.00")
    for api in (scene.dealer_api(), person_api(scene.valeter)):
        (shown,) = detail(api, job)["changes_to_see"]
        assert shown["number"] == number
        assert shown["fields_changed"] == ["operations", "cap_amount", "cap_currency"]
        assert shown["changed_by"] == "tests (Brackmoor Cars)"
        assert (shown["seen_at"], shown["seen_by"]) == (None, "")
        assert "80" not in without_ids(shown)
    seen = done(see(person_api(scene.valeter), job, number))
    assert seen["seen_by"] == "Tam Brackley"
    for api in (scene.dealer_api(), scene.workshop_api()):
        assert detail(api, job)["changes_to_see"] == [seen]
    name, data = told(job)[-1]
    assert (name, data["number"], data["by"]) == ("work_order.change_seen", number, "Tam Brackley")
    entry = history(scene.dealer_api(), job)[-1]
    assert (entry["kind"], entry["data"]) == ("change_seen", {"number": number})
    assert entry["version"] == job["version"] + 1  # the change's; seeing it raises none


def test_seen_again_it_answers_who_saw_it_first(scene: Scene) -> None:
    job = arrived(scene)
    number = changed(scene, job, colour="Slate")
    first = done(see(person_api(scene.valeter), job, number))
    before = history(scene.dealer_api(), job)
    assert done(see(person_api(scene.manager), job, number)) == first
    assert history(scene.dealer_api(), job) == before


@pytest.mark.django_db(transaction=True)
def test_seen_by_two_at_once_it_is_told_once(scene: Scene) -> None:
    job = arrived(scene)
    number = changed(scene, job, colour="Slate")
    valeter, manager = person_api(scene.valeter), person_api(scene.manager)
    first, second = at_once(lambda: see(valeter, job, number), lambda: see(manager, job, number))
    assert done(first) == done(second)
    assert [name for name, _ in told(job)].count("work_order.change_seen") == 1


def test_a_change_before_the_car_is_here_need_not_be_seen(scene: Scene) -> None:
    job = posted(scene.dealer_api())
    number = changed(scene, job, colour="Slate")
    assert detail(scene.dealer_api(), job)["changes_to_see"] == []
    refused(see(scene.workshop_api(), job, number), 404)


def test_a_change_that_changes_nothing_need_not_be_seen(scene: Scene) -> None:
    job = arrived(scene, colour="Slate")
    done(scene.dealer_api().patch(f"/work-orders/{job['id']}", {"colour": "Slate"}))
    assert detail(scene.dealer_api(), job)["changes_to_see"] == []


def test_what_is_not_there_or_not_theirs_is_not_found(scene: Scene) -> None:
    job = arrived(scene)
    number = changed(scene, job, colour="Slate")
    workshop = scene.workshop_api()
    refused(see(workshop, job, number - 1), 404)
    refused(see(workshop, job, 2**70), 404)
    refused(workshop.post(f"/jobs/{NOWHERE}/changes/{number}/seen"), 404)
    refused(see(key_api(scene.stranger_workshop), job, number), 404)
    refused(see(scene.dealer_api(), job, number), 403)
    assert ScopeChange.objects.get(job_id=job["id"]).seen_at is None
