"""Trade accounts over the API: seen from both sides, changed by the workshop's heads."""

from typing import Any

import pytest

from accounts.models import TradeAccount
from tests.scene import Scene, key_api, order, person_api


def test_each_side_sees_its_own_accounts(scene: Scene) -> None:
    account = scene.account
    shown = {
        "id": str(account.pk),
        "dealer": {"id": str(scene.dealer.pk), "name": "Brackmoor Cars"},
        "workshop": {"id": str(scene.workshop.pk), "name": "Fernhollow Valeting"},
        "accepts_by_itself": True,
        "active": True,
    }
    for api in (
        key_api(scene.dealer),
        key_api(scene.workshop),
        person_api(scene.valeter),
        person_api(scene.staff),
    ):
        (listed,) = api.get("/trade-accounts").json()["results"]
        assert listed.pop("created_at").endswith("Z")
        assert listed == shown
        assert api.get(f"/trade-accounts/{account.pk}").json()["id"] == shown["id"]


def test_a_closed_account_is_still_shown_as_closed(scene: Scene) -> None:
    TradeAccount.objects.update(active=False)
    (listed,) = key_api(scene.dealer).get("/trade-accounts").json()["results"]
    assert listed["active"] is False


@pytest.mark.parametrize("who", ["owner", "manager"])
def test_the_workshops_heads_say_whether_they_are_asked(scene: Scene, who: str) -> None:
    api = person_api(getattr(scene, who))
    path = f"/trade-accounts/{scene.account.pk}"
    response = api.patch(path, {"accepts_by_itself": False})
    assert response.status_code == 200
    assert response.json()["accepts_by_itself"] is False
    assert api.get(path).json() == response.json()


def test_the_next_order_waits_to_be_accepted(scene: Scene) -> None:
    dealer = key_api(scene.dealer)
    assert dealer.post("/work-orders", order()).json()["decision"] == "accepted"
    person_api(scene.owner).patch(
        f"/trade-accounts/{scene.account.pk}", {"accepts_by_itself": False}
    )
    waiting = dealer.post("/work-orders", order(dealer_ref="PX-2", registration="JX19 KLM"))
    assert waiting.json()["decision"] == "awaited"


@pytest.mark.parametrize("who", ["valeter", "staff"])
def test_nobody_else_may_change_it(scene: Scene, who: str) -> None:
    response = person_api(getattr(scene, who)).patch(
        f"/trade-accounts/{scene.account.pk}", {"accepts_by_itself": False}
    )
    assert response.status_code == 403
    assert TradeAccount.objects.get(pk=scene.account.pk).accepts_by_itself is True


def test_a_key_may_not_change_it(scene: Scene) -> None:
    response = key_api(scene.workshop).patch(
        f"/trade-accounts/{scene.account.pk}", {"accepts_by_itself": False}
    )
    assert response.status_code == 403
    assert "a key cannot make it" in response.json()["detail"]


def test_a_strangers_account_is_as_if_it_were_not_there(scene: Scene) -> None:
    api = person_api(scene.owner)
    for account_id in (scene.stranger_account.pk, "0197c0de-3333-7000-8000-000000000001"):
        for response in (
            api.get(f"/trade-accounts/{account_id}"),
            api.patch(f"/trade-accounts/{account_id}", {"accepts_by_itself": False}),
        ):
            assert response.status_code == 404
            assert response.json()["detail"] == (
                "There is no such trade account, or it is not yours."
            )
    assert TradeAccount.objects.get(pk=scene.stranger_account.pk).accepts_by_itself is True


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "accepts_by_itself"),
        ({"accepts_by_itself": None}, "accepts_by_itself"),
        ({"accepts_by_itself": "perhaps"}, "accepts_by_itself"),
        ({"accepts_by_itself": [1]}, "accepts_by_itself"),
        ({"accepts_by_itself": True, "active": False}, "active"),
    ],
)
def test_a_change_that_is_not_whole_names_the_field(
    scene: Scene, body: dict[str, Any], field: str
) -> None:
    response = person_api(scene.owner).patch(f"/trade-accounts/{scene.account.pk}", body)
    assert response.status_code == 400
    assert [entry["field"] for entry in response.json()["errors"]] == [field]
