"""Rotating a secret: both sign for a day, and no rotation cuts a receiver off by accident."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine

from core.clock import now
from notifications.models import Endpoint
from notifications.services.secrets import secrets_for_signing
from tests.notifications.notices import add_webhook
from tests.scene import Api, Scene


@pytest.fixture
def api(scene: Scene) -> Api:
    return scene.dealer_api()


@pytest.fixture
def endpoint(api: Api) -> Any:
    return add_webhook(api)


def rotate(api: Api, endpoint: Any, **body: Any) -> Any:
    return api.post(f"/webhook-endpoints/{endpoint['id']}/rotate-secret", body)


def signing(endpoint: Any, hours_on: float = 0) -> list[str]:
    return secrets_for_signing(
        Endpoint.objects.get(pk=endpoint["id"]), now() + timedelta(hours=hours_on)
    )


def test_the_old_secret_signs_for_24_hours_more(api: Api, endpoint: Any) -> None:
    response = rotate(api, endpoint)
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    fresh = response.json()
    assert fresh["secret"] != endpoint["secret"]
    assert signing(endpoint, 23.9) == [fresh["secret"], endpoint["secret"]]
    assert signing(endpoint, 24.1) == [fresh["secret"]]


def test_it_shows_until_when_the_old_secret_signs(api: Api, endpoint: Any) -> None:
    until = rotate(api, endpoint).json()["old_secret_until"]
    path = f"/webhook-endpoints/{endpoint['id']}"
    assert api.get(path).json()["old_secret_until"] == until
    with time_machine.travel(now() + timedelta(hours=25)):
        assert api.get(path).json()["old_secret_until"] is None


def test_a_second_rotation_within_the_day_is_refused(api: Api, endpoint: Any) -> None:
    fresh = rotate(api, endpoint).json()
    response = rotate(api, endpoint)
    assert response.status_code == 409
    assert response.json()["type"] == "urn:shutline:problem:secret-just-rotated"
    assert response.json()["old_secret_until"].startswith(fresh["old_secret_until"][:19])
    assert signing(endpoint) == [fresh["secret"], endpoint["secret"]]


def test_a_secret_that_never_arrived_is_replaced_and_the_first_signs_on(
    api: Api, endpoint: Any
) -> None:
    lost = rotate(api, endpoint).json()
    replaced = rotate(api, endpoint, replace_newest=True).json()
    assert replaced["secret"] not in {lost["secret"], endpoint["secret"]}
    assert replaced["old_secret_until"] == lost["old_secret_until"]
    assert signing(endpoint) == [replaced["secret"], endpoint["secret"]]


def test_the_next_rotation_is_open_after_a_day(api: Api, endpoint: Any) -> None:
    second = rotate(api, endpoint).json()
    with time_machine.travel(now() + timedelta(hours=25)):
        third = rotate(api, endpoint).json()
        assert signing(endpoint) == [third["secret"], second["secret"]]


def test_replace_newest_without_a_rotation_before_is_an_ordinary_one(
    api: Api, endpoint: Any
) -> None:
    fresh = rotate(api, endpoint, replace_newest=True).json()
    assert signing(endpoint) == [fresh["secret"], endpoint["secret"]]


def test_an_email_recipient_has_no_secret_to_rotate(api: Api) -> None:
    recipient = api.post(
        "/email-recipients", {"email": "desk@brackmoor.example", "event_types": ["job.ready"]}
    ).json()
    assert rotate(api, recipient).status_code == 404
    assert Endpoint.objects.get(pk=recipient["id"]).secret == ""
