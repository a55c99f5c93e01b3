"""The operator's pages of notices: everything to see, one switch, no secret."""

from typing import Any

import pytest
from django.test import Client

from accounts.models import Person
from notifications.models import Attempt, Delivery, Endpoint, Event
from tests.notifications.notices import add_webhook, delivery_to, failing, happened, tried
from tests.scene import Scene

ADMIN = "/admin/notifications"


@pytest.fixture
def operator(scene: Scene) -> Client:
    del scene
    person = Person.objects.create_superuser("desk@operator.example", "x", name="Wren Aldous")
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def endpoint(scene: Scene) -> Any:
    return add_webhook(scene.dealer_api())


@pytest.fixture
def attempt(scene: Scene, endpoint: Any) -> Attempt:
    delivery = delivery_to(endpoint["id"], happened(dealer=scene.dealer))
    return tried(delivery, status=503, state="waiting")


def page(client: Client, path: str) -> str:
    response = client.get(f"{ADMIN}/{path}")
    assert response.status_code == 200, path
    return response.content.decode()


def test_every_list_and_page_shows_what_happened(operator: Client, attempt: Attempt) -> None:
    delivery = attempt.delivery
    assert "job.arrived" in page(operator, "event/")
    assert "job.arrived" in page(operator, f"event/{delivery.event_id}/change/")
    assert "job.arrived" in page(operator, "delivery/")
    assert "waiting" in page(operator, f"delivery/{delivery.pk}/change/")
    assert ">503<" in page(operator, "attempt/")
    assert "Back in a moment" in page(operator, f"attempt/{attempt.pk}/change/")
    assert "Brackmoor Cars" in page(operator, "endpoint/")


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("event/?type=job.arrived", 1),
        ("event/?type=job.held", 0),
        ("event/?position__isempty=0", 1),
        ("delivery/?state__exact=waiting&type=job.arrived&endpoint__channel__exact=webhook", 1),
        ("delivery/?type=job.held", 0),
        ("attempt/?outcome=refused", 1),
        ("attempt/?outcome=taken", 0),
        ("attempt/?outcome=none", 0),
        ("endpoint/?state__exact=on&deleted_at__isempty=1&failing_since__isempty=1", 1),
        ("endpoint/?state__exact=disabled", 0),
    ],
)
@pytest.mark.usefixtures("attempt")
def test_the_filters_narrow_the_lists(operator: Client, path: str, found: int) -> None:
    response = operator.get(f"{ADMIN}/{path}")
    assert response.status_code == 200, path
    assert response.context["cl"].result_count == found


def test_lists_are_searched_by_whole_ids(operator: Client, attempt: Attempt) -> None:
    event_id, other_id = attempt.delivery.event.id, attempt.delivery.endpoint.organisation_id
    for model in ("event", "delivery", "attempt"):
        for term, found in (
            (event_id, 1),
            (other_id, 0),
            ("x", 0),
        ):
            response = operator.get(f"{ADMIN}/{model}/?q={term}")
            assert response.context["cl"].result_count == found


def test_nothing_can_be_added_changed_or_deleted(operator: Client, attempt: Attempt) -> None:
    for row in (attempt, attempt.delivery, attempt.delivery.event):
        path = f"{ADMIN}/{row._meta.model_name}"
        assert operator.get(f"{path}/add/").status_code == 403
        assert operator.post(f"{path}/{row.pk}/change/", {"state": "failed"}).status_code == 403
        assert operator.post(f"{path}/{row.pk}/delete/", {"post": "yes"}).status_code == 403
    endpoint = attempt.delivery.endpoint
    assert operator.post(f"{ADMIN}/endpoint/{endpoint.pk}/delete/").status_code == 403
    assert (Attempt.objects.count(), Delivery.objects.count(), Event.objects.count()) == (1, 1, 1)


def test_a_secret_is_shown_nowhere(operator: Client, endpoint: Any) -> None:
    kept = Endpoint.objects.get(pk=endpoint["id"]).secret
    for path in ("endpoint/", f"endpoint/{endpoint['id']}/change/"):
        shown = page(operator, path)
        assert kept not in shown
        assert endpoint["secret"] not in shown


def test_switching_off_has_the_consequences_it_has_for_an_owner(
    operator: Client, endpoint: Any, attempt: Attempt
) -> None:
    path = f"{ADMIN}/endpoint/{endpoint['id']}/change/"
    assert operator.post(path, {"state": "off", "address": "https://x.example/"}).status_code == 302
    changed = Endpoint.objects.get(pk=endpoint["id"])
    assert changed.state == Endpoint.State.OFF
    assert "Wren Aldous" in changed.state_reason
    assert changed.address == endpoint["url"]
    attempt.delivery.refresh_from_db()
    assert attempt.delivery.state == Delivery.State.STOPPED


def test_a_disabled_endpoint_can_be_switched_on(operator: Client, endpoint: Any) -> None:
    failing(endpoint["id"])
    path = f"{ADMIN}/endpoint/{endpoint['id']}/change/"
    assert operator.post(path, {"state": "disabled"}).status_code == 302
    assert Endpoint.objects.get().failing_since is not None
    assert operator.post(path, {"state": "on"}).status_code == 302
    changed = Endpoint.objects.get()
    assert changed.state == Endpoint.State.ON
    assert changed.failing_since is None


def test_the_operator_cannot_disable_or_revive(operator: Client, endpoint: Any) -> None:
    path = f"{ADMIN}/endpoint/{endpoint['id']}/change/"
    refused = operator.post(path, {"state": "disabled"})
    assert refused.status_code == 200
    assert refused.context["adminform"].form.errors["state"]
    Endpoint.objects.update(deleted_at="2027-03-01T09:00:00Z", state="off")
    assert operator.post(path, {"state": "on"}).status_code == 403
    assert Endpoint.objects.get().state == Endpoint.State.OFF
