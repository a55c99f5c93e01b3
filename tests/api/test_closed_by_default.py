"""What nobody has said who may call is closed, without anybody's help."""

from typing import Any, ClassVar

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import OPEN, Access, Caller
from accounts.pages.base import PageView
from core.urls import urlpatterns as ours
from tests.scene import Scene, person_api

pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]


class Forgotten(ApiView):
    """A call whose author forgot to say who may make it."""

    def get(self, request: Request) -> Response:
        del request
        return Response({"secret": "yes"})


class Opened(ApiView):
    """A call that is open on purpose, its other method forgotten."""

    access: ClassVar[dict[str, Access | None]] = {"GET": OPEN}

    def get(self, request: Request) -> Response:
        del request
        return Response({})

    def post(self, request: Request) -> Response:
        del request
        return Response({})


class ForgottenPage(PageView):
    """A page whose author forgot to say who may see it."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        del request, caller
        return HttpResponse("secret")


urlpatterns = [
    path("api/v1/forgotten", Forgotten.as_view()),
    path("api/v1/opened", Opened.as_view()),
    path("forgotten", ForgottenPage.as_view()),
    *ours,
]


def everybody(scene: Scene) -> list[tuple[Client, dict[str, str]]]:
    people = [scene.owner, scene.manager, scene.valeter, scene.staff]
    keys: list[Any] = [scene.workshop_api(), scene.dealer_api()]
    return [
        (Client(), {}),
        *((person_api(person).client, {}) for person in people),
        *((key.client, key.headers) for key in keys),
    ]


def test_a_call_that_says_nothing_is_closed_to_everybody(scene: Scene) -> None:
    for client, headers in everybody(scene):
        answer = client.get("/api/v1/forgotten", headers=headers)
        assert answer.status_code == 403
        assert answer.json()["next_step"] == "Tell the operator of the service."


def test_what_is_open_on_purpose_opens_no_other_method(scene: Scene) -> None:
    for client, headers in everybody(scene):
        assert client.get("/api/v1/opened", headers=headers).status_code == 200
        answer = client.post("/api/v1/opened", {}, "application/json", headers=headers)
        assert answer.status_code == 403


def test_a_page_that_says_nothing_is_closed_to_everybody(scene: Scene) -> None:
    for client, headers in everybody(scene):
        answer = client.get("/forgotten", headers=headers)
        assert answer.status_code in {401, 403}
        assert b"secret" not in answer.content


def test_a_method_that_is_not_answered_is_still_405(scene: Scene) -> None:
    api = scene.workshop_api()
    assert api.client.put("/api/v1/forgotten", headers=api.headers).status_code == 405
