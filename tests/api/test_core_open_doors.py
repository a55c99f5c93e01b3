"""Nobody gets in by a door that was left open: every call asks who is there, by every method."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, Side, dealers, either, people, workshops
from tests.scene import Scene, key_api, person_api

SOME_ID = "0197c0de-2222-7000-8000-000000000001"
# What anyone may call: the sign-in itself, and the catalogue of event types.
OPEN = {("POST", "api/v1/session"), ("GET", "api/v1/event-types")}


def patterns(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every address below a resolver with its view class."""
    for pattern in resolver.url_patterns:
        address = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from patterns(pattern, address)
        elif isinstance(pattern, URLPattern):
            yield address, getattr(pattern.callback, "view_class", None)


def api_views() -> list[tuple[str, type[ApiView]]]:
    """Return every address of the API with its view class."""
    found = [
        (address, view)
        for address, view in patterns(get_resolver("core.urls"))
        if address.startswith("api/v1/")
    ]
    assert all(view is not None and issubclass(view, ApiView) for _, view in found)
    return found


def calls() -> list[tuple[str, str]]:
    """Return every method and address that is answered, HEAD beside GET."""
    answered = [
        (method.upper(), address)
        for address, view in api_views()
        for method in view.http_method_names
        if hasattr(view, method)
    ]
    return answered + [("HEAD", address) for method, address in answered if method == "GET"]


def reach(address: str) -> str:
    """Return an address with something in its gaps."""
    return "/" + re.sub(r"<[^>]+>", SOME_ID, re.sub(r"<int:[^>]+>", "1", address))


def test_the_api_has_calls_to_look_at() -> None:
    assert len(calls()) > 30


def test_only_the_known_calls_ask_for_nobody() -> None:
    unguarded = {
        (method, address)
        for address, view in api_views()
        for method, called in calls()
        if called == address and method != "HEAD" and view.access.get(method) is None
    }
    assert unguarded == OPEN


def test_no_view_names_a_method_it_does_not_answer() -> None:
    idle = [
        (method, address)
        for address, view in api_views()
        for method in view.access
        if not hasattr(view, method.lower())
    ]
    assert idle == []


def closed() -> list[tuple[str, str]]:
    """Return the calls that ask who is there."""
    opened = OPEN | {("HEAD", address) for method, address in OPEN if method == "GET"}
    return sorted(set(calls()) - opened)


@pytest.mark.parametrize(("method", "address"), closed())
def test_a_stranger_is_asked_who_they_are(
    client: Client, db: None, method: str, address: str
) -> None:
    del db
    response = client.generic(method, reach(address), "{}", content_type="application/json")
    assert response.status_code == 401
    if method != "HEAD":
        assert response.json()["type"] == "urn:shutline:problem:not-signed-in"


@pytest.mark.parametrize("address", sorted(address for address, _ in api_views()))
@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "PUT", "BREW"])
def test_a_method_that_is_not_answered_is_a_405_that_describes_nothing(
    client: Client, method: str, address: str
) -> None:
    view = dict(api_views())[address]
    if method == "PUT" and hasattr(view, "put"):
        pytest.skip("answered here")
    response = client.generic(method, reach(address))
    assert response.status_code == 405
    assert response.json()["type"] == "urn:shutline:problem:wrong-method"
    assert method not in response.headers["Allow"].split(", ")


def test_head_gets_what_get_would_but_for_the_body(scene: Scene) -> None:
    api = scene.dealer_api()
    head, whole = api.call("HEAD", "/trade-accounts"), api.get("/trade-accounts")
    assert (head.status_code, head.content) == (200, b"")
    assert int(head.headers["Content-Length"]) == len(whole.content)


def test_a_missing_scope_is_named(scene: Scene) -> None:
    response = key_api(scene.dealer, [Scope.NOTICES]).get("/trade-accounts")
    assert response.status_code == 403
    assert response.json()["required_scope"] == "jobs.read"
    assert "jobs.read" in response.json()["detail"]


def test_the_wrong_side_is_named(scene: Scene) -> None:
    path = f"/trade-accounts/{scene.account.pk}"
    response = person_api(scene.staff).patch(path, {"accepts_by_itself": False})
    assert response.status_code == 403
    assert response.json()["required_side"] == "workshop"


def test_what_a_call_may_ask_for() -> None:
    assert dealers(Scope.ORDER) == Access(Scope.ORDER, frozenset({Side.DEALER}))
    assert workshops(Scope.WORK) == Access(Scope.WORK, frozenset({Side.WORKSHOP}))
    assert either(None) == Access(None, frozenset(Side))
    assert people("owner") == Access(None, people_only=True, roles=frozenset({"owner"}))
