"""`Idempotency-Key`: a repeated request acts once and gets its first answer, on either database."""

import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any, ClassVar

import pytest
import time_machine
from cryptography.fernet import Fernet
from django.db import connection
from django.test import Client
from django.urls import include, path
from pytest_django import Settings
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api import keys
from accounts.api.base import ApiView
from accounts.caller import Access, either
from accounts.models import ApiKey, Person
from accounts.services import key_add
from core.clock import now
from core.idempotency import fingerprint, purge_expired
from core.models import IdempotentAnswer
from tests.patience import PATIENCE_SECONDS
from tests.scene import Api, Scene, key_api, person_api, show_password

NEW_KEY = {"name": "till", "scopes": ["jobs.read"]}
ONCE = {"Idempotency-Key": "0197c0de-1111-7000-8000-000000000001"}


class Bell(ApiView):
    """Rings, and has nothing to say."""

    access: ClassVar[dict[str, Access]] = {"POST": either(None)}
    rings = 0

    def post(self, request: Request) -> Response:
        del request
        Bell.rings += 1
        return Response(status=204)


urlpatterns = [path("api/v1/bell", Bell.as_view()), path("", include("core.urls"))]


@pytest.fixture
def manager(scene: Scene) -> Api:
    return person_api(scene.manager)


def test_the_same_request_gets_the_same_bytes_and_acts_once(manager: Api) -> None:
    first = manager.post("/keys", NEW_KEY, ONCE)
    second = manager.post("/keys", NEW_KEY, ONCE)
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.content == first.content
    for header in ("Content-Type", "Location"):
        assert second.headers[header] == first.headers[header]
    assert ApiKey.objects.count() == 1
    assert IdempotentAnswer.objects.count() == 1


def test_without_the_header_each_request_acts(manager: Api) -> None:
    answers = {manager.post("/keys", NEW_KEY).content for _ in range(2)}
    assert len(answers) == ApiKey.objects.count() == 2


@pytest.mark.parametrize(
    "body",
    [{**NEW_KEY, "name": "board"}, {"scopes": ["jobs.read"], "name": "till"}, {}],
)
def test_another_request_under_the_same_key_is_a_422(manager: Api, body: dict[str, Any]) -> None:
    manager.post("/keys", NEW_KEY, ONCE)
    response = manager.post("/keys", body, ONCE)
    assert response.status_code == 422
    assert response.json()["type"] == "urn:shutline:problem:idempotency-key-reused"
    assert ApiKey.objects.count() == 1


def test_a_request_is_the_same_only_with_method_address_type_and_body_the_same() -> None:
    request = {"method": "POST", "path": "/a", "content_type": "text/csv", "body": b"b"}
    variants = [
        {**request, "method": "PUT"},
        {**request, "path": "/a?c"},
        {**request, "content_type": "application/json"},
        {**request, "body": b"c"},
        {**request, "path": "/", "content_type": "atext/csv"},
    ]
    prints = {fingerprint(**candidate) for candidate in [request, *variants]}  # type: ignore[arg-type]
    assert len(prints) == 1 + len(variants)
    assert fingerprint(**request) in prints  # type: ignore[arg-type]


def test_organisations_do_not_share_keys(scene: Scene, manager: Api) -> None:
    first = manager.post("/keys", NEW_KEY, ONCE)
    second = person_api(scene.staff).post("/keys", NEW_KEY, ONCE)
    assert second.status_code == 201
    assert second.json()["prefix"] != first.json()["prefix"]


def test_a_colleague_repeats_the_request_but_one_who_may_not_make_it_gets_nothing(
    scene: Scene, manager: Api
) -> None:
    first = manager.post("/keys", NEW_KEY, ONCE)
    assert person_api(scene.owner).post("/keys", NEW_KEY, ONCE).content == first.content
    refused = person_api(scene.valeter).post("/keys", NEW_KEY, ONCE)
    assert refused.status_code == 403
    assert first.json()["key"] not in refused.content.decode()


def test_a_refused_request_is_not_kept(manager: Api) -> None:
    assert manager.post("/keys", {**NEW_KEY, "scopes": []}, ONCE).status_code == 400
    assert IdempotentAnswer.objects.count() == 0
    assert manager.post("/keys", NEW_KEY, ONCE).status_code == 201


def test_the_answer_lies_sealed(manager: Api) -> None:
    secret = manager.post("/keys", NEW_KEY, ONCE).json()["key"]
    kept = IdempotentAnswer.objects.get()
    assert secret.encode() not in bytes(kept.body)
    assert b"till" not in bytes(kept.body)


def test_an_answer_sealed_with_a_key_since_retired_is_still_read(
    manager: Api, settings: Settings
) -> None:
    first = manager.post("/keys", NEW_KEY, ONCE)
    settings.FIELD_KEYS = [Fernet.generate_key().decode(), *settings.FIELD_KEYS]
    assert manager.post("/keys", NEW_KEY, ONCE).content == first.content


def test_an_answer_that_no_key_opens_is_a_409_and_nothing_is_done_again(
    manager: Api, settings: Settings
) -> None:
    manager.post("/keys", NEW_KEY, ONCE)
    settings.FIELD_KEYS = [Fernet.generate_key().decode()]
    response = manager.post("/keys", NEW_KEY, ONCE)
    assert response.status_code == 409
    assert "can no longer be read" in response.json()["detail"]
    assert ApiKey.objects.count() == 1


def test_after_a_week_the_key_is_free_again(manager: Api) -> None:
    first = manager.post("/keys", NEW_KEY, ONCE)
    with time_machine.travel(now() + timedelta(hours=167, minutes=59), tick=False):
        show_password(manager.client)
        assert manager.post("/keys", NEW_KEY, ONCE).content == first.content
    with time_machine.travel(now() + timedelta(hours=168, minutes=1), tick=False):
        show_password(manager.client)
        second = manager.post("/keys", {**NEW_KEY, "name": "board"}, ONCE)
        assert second.status_code == 201
        assert manager.post("/keys", {**NEW_KEY, "name": "board"}, ONCE).content == second.content
    assert ApiKey.objects.count() == 2
    assert IdempotentAnswer.objects.count() == 1


def test_only_expired_answers_are_purged(manager: Api) -> None:
    manager.post("/keys", NEW_KEY, ONCE)
    assert purge_expired() == 0
    with time_machine.travel(now() + timedelta(hours=168, minutes=1), tick=False):
        show_password(manager.client)
        manager.post("/keys", NEW_KEY, {"Idempotency-Key": "another"})
        assert purge_expired() == 1
    assert IdempotentAnswer.objects.get().key == "another"


@pytest.mark.parametrize("key", ["", "x" * 256, "caf\u00e9", "a\tb"])
def test_a_key_that_is_not_short_and_plain_is_refused(manager: Api, key: str) -> None:
    response = manager.post("/keys", NEW_KEY, {"Idempotency-Key": key})
    assert response.status_code == 400
    assert response.json()["errors"][0]["field"] == "Idempotency-Key"
    assert ApiKey.objects.count() == 0


def test_a_stranger_with_a_key_to_repeat_is_still_a_401(db: None) -> None:
    del db
    assert Api(Client()).post("/keys", NEW_KEY, ONCE).status_code == 401
    assert Api(Client()).post("/session", {}, ONCE).status_code == 400


@pytest.mark.urls(__name__)
def test_an_answer_without_a_body_is_repeated_as_it_was(scene: Scene) -> None:
    Bell.rings = 0
    api = key_api(scene.dealer)
    first, second = api.post("/bell", {}, ONCE), api.post("/bell", {}, ONCE)
    assert Bell.rings == 1
    assert (first.status_code, first.content) == (204, b"")
    assert (second.status_code, second.content) == (204, b"")
    assert "Content-Type" not in first.headers
    assert "Content-Type" not in second.headers


class Repeats:
    """Posts the same request twice, from threads of their own, each with its own connection."""

    def __init__(self, person: Person) -> None:
        self.apis = [person_api(person), person_api(person)]
        self.answers: list[Any] = []
        self.threads: list[threading.Thread] = []

    def start(self, name: str = "till") -> threading.Thread:
        thread = threading.Thread(target=self._post, args=[self.apis.pop(), name])
        self.threads.append(thread)
        thread.start()
        return thread

    def _post(self, api: Api, name: str) -> None:
        try:
            self.answers.append(api.post("/keys", {**NEW_KEY, "name": name}, ONCE))
        finally:
            connection.close()

    def finish(self) -> list[Any]:
        for thread in self.threads:
            thread.join(PATIENCE_SECONDS)
        assert not any(thread.is_alive() for thread in self.threads)
        return self.answers


@pytest.fixture
def interrupted(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Callable[[], None]], None]]:
    """Make something happen in the middle of the first making of a key."""
    calls: list[Callable[[], None]] = []

    def key_add_slowly(**arguments: Any) -> Any:
        fresh = key_add(**arguments)
        if calls:
            calls.pop()()
        return fresh

    monkeypatch.setattr(keys, "key_add", key_add_slowly)
    yield calls.append
    assert not calls


def test_two_at_the_same_moment_make_one_key_and_get_one_answer(
    transactional_db: None, scene: Scene, interrupted: Callable[[Callable[[], None]], None]
) -> None:
    del transactional_db
    repeats = Repeats(scene.manager)
    waited: list[bool] = []

    def repeat_meanwhile() -> None:
        second = repeats.start()
        second.join(0.5)
        waited.append(second.is_alive())

    interrupted(repeat_meanwhile)
    repeats.start()
    first, second = repeats.finish()
    assert waited == [True]
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.content == second.content
    assert ApiKey.objects.count() == 1
    assert IdempotentAnswer.objects.count() == 1


def test_the_second_does_the_work_where_the_first_failed(
    transactional_db: None, scene: Scene, interrupted: Callable[[Callable[[], None]], None]
) -> None:
    del transactional_db
    repeats = Repeats(scene.manager)

    def repeat_and_fail() -> None:
        repeats.start().join(0.2)
        raise RuntimeError("the first dies after its work")

    interrupted(repeat_and_fail)
    repeats.start()
    assert sorted(answer.status_code for answer in repeats.finish()) == [201, 500]
    assert ApiKey.objects.count() == 1


def test_two_that_meet_an_expired_answer_do_the_work_once(
    transactional_db: None, scene: Scene, interrupted: Callable[[Callable[[], None]], None]
) -> None:
    del transactional_db
    person_api(scene.manager).post("/keys", NEW_KEY, ONCE)
    IdempotentAnswer.objects.update(created_at=now() - timedelta(hours=169))
    repeats = Repeats(scene.manager)
    interrupted(lambda: repeats.start("board").join(0.5))
    repeats.start("board")
    first, second = repeats.finish()
    assert first.content == second.content
    assert ApiKey.objects.filter(name="board").count() == 1
