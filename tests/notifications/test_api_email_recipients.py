"""E-mail recipients: the same machinery as webhook endpoints, without a secret."""

from typing import Any

import pytest

from accounts.caller import Scope
from notifications.models import Delivery
from tests.notifications.notices import add_webhook, delivery_to, happened
from tests.scene import Api, Scene, key_api, person_api

PATH = "/email-recipients"
EMAIL = "desk@brackmoor.example"


def add(api: Api, **fields: Any) -> Any:
    response = api.post(PATH, {"email": EMAIL, "event_types": ["job.ready"], **fields})
    assert response.status_code == 201, response.content
    return response.json()


def test_a_recipient_gets_the_chosen_types_only(scene: Scene) -> None:
    recipient = add(scene.dealer_api())
    assert "secret" not in recipient
    happened(dealer=scene.dealer, type="job.held")
    ready = happened(dealer=scene.dealer, type="job.ready")
    assert Delivery.objects.get() == delivery_to(recipient["id"], ready)


@pytest.mark.parametrize("fields", [{}, {"event_types": []}])
def test_somebody_must_choose_what_is_worth_a_message(scene: Scene, fields: Any) -> None:
    response = scene.dealer_api().post(PATH, {"email": EMAIL, **fields})
    assert response.status_code == 400
    assert [entry["field"] for entry in response.json()["errors"]] == ["event_types"]


@pytest.mark.parametrize("email", ["desk", "desk@brackmoor.example\nBcc: x@y.example", ""])
def test_it_refuses_what_is_not_an_address(scene: Scene, email: str) -> None:
    response = scene.dealer_api().post(PATH, {"email": email, "event_types": ["job.ready"]})
    assert response.status_code == 400
    assert [entry["field"] for entry in response.json()["errors"]] == ["email"]


def test_the_same_mailbox_twice_is_answered_with_the_existing_id(scene: Scene) -> None:
    api = scene.dealer_api()
    existing = add(api)
    response = api.post(PATH, {"email": EMAIL.upper(), "event_types": ["job.held"]})
    assert response.status_code == 409
    assert response.json()["existing_id"] == existing["id"]


def test_it_can_be_changed_switched_and_deleted(scene: Scene) -> None:
    api = scene.dealer_api()
    path = f"{PATH}/{add(api)['id']}"
    changes = {"email": "sales@brackmoor.example", "event_types": ["job.held"], "state": "off"}
    changed = api.patch(path, changes).json()
    assert {name: changed[name] for name in changes} == changes
    assert api.get(path).json() == changed
    assert api.patch(path, {"event_types": []}).status_code == 400
    assert api.delete(path).status_code == 204
    assert api.get(path).status_code == 404


def test_a_repeated_post_under_one_key_adds_one_recipient(scene: Scene) -> None:
    api = scene.dealer_api()
    body = {"email": EMAIL, "event_types": ["job.ready"]}
    answers = [api.post(PATH, body, {"Idempotency-Key": "one"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json()["id"] == answers[1].json()["id"]


def test_its_deliveries_are_listed_with_their_attempts(scene: Scene) -> None:
    api = scene.dealer_api()
    recipient = add(api)
    happened(dealer=scene.dealer, type="job.ready")
    page = api.get(f"{PATH}/{recipient['id']}/deliveries").json()
    assert [row["event_type"] for row in page["results"]] == ["job.ready"]


def test_a_test_message_is_on_its_way_to_it_only(scene: Scene) -> None:
    api = scene.dealer_api()
    recipient = add(api)
    add_webhook(api)
    response = api.post(f"{PATH}/{recipient['id']}/test")
    assert response.status_code == 202
    assert api.get("/events").json()["events"][0]["id"] == response.json()["event_id"]
    delivery = Delivery.objects.get()
    assert str(delivery.endpoint_id) == recipient["id"]


def test_strangers_and_those_without_the_scope_see_nothing(scene: Scene) -> None:
    path = f"{PATH}/{add(scene.dealer_api())['id']}"
    for stranger in (scene.workshop_api(), key_api(scene.stranger_dealer)):
        assert stranger.get(path).status_code == 404
        assert stranger.patch(path, {"state": "off"}).status_code == 404
        assert stranger.delete(path).status_code == 404
        assert stranger.post(f"{path}/test").status_code == 404
        assert stranger.get(f"{path}/deliveries").status_code == 404
    assert person_api(scene.staff).get(path).status_code == 200
    assert key_api(scene.dealer, [Scope.READ]).get(path).status_code == 403
