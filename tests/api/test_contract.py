"""Whatever is sent, the answer is one that the OpenAPI document tells of.

Schemathesis makes requests from the document, good and bad, and calls the WSGI application with
each of them for a stranger, a dealer's key, a workshop's key and a signed-in owner.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from accounts.api.throttling import COUNTER
from core.wsgi import application
from tests.api.world import Route, World, openapi, routes
from tests.scene import key_api, person_api

pytestmark = pytest.mark.django_db

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
UNKNOWN = 401
SIGN_IN = "/api/v1/session"
ROUTES = [route for route in routes() if route.template.startswith("/api/v1/")]
# The same requests at every run: a new one that fails should stop its author, nobody else.
QUICK = settings(
    max_examples=10,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@contextmanager
def one_connection() -> Iterator[None]:
    """Keep the test's transaction open over requests, as Django's own test client does."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    try:
        yield
    finally:
        for signal in signals:
            signal.connect(close_old_connections)


@dataclass(frozen=True, slots=True)
class Sender:
    """Somebody who sends the generated requests, to the objects of their own side."""

    side: str
    headers: dict[str, str]
    cookies: dict[str, str] = field(default_factory=dict)

    @property
    def is_known(self) -> bool:
        """Return whether there is anything to know them by."""
        return bool(self.headers)


@pytest.fixture
def senders(world: World) -> list[Sender]:
    """Return a stranger, a dealer's system, a workshop's, and a signed-in owner."""
    api = person_api(world.scene.owner)
    token = api.get("/session").json()["csrf_token"]
    cookies = {name: kept.value for name, kept in api.client.cookies.items()}
    return [
        Sender("dealer", {}),
        Sender("dealer", key_api(world.scene.dealer).headers),
        Sender("workshop", key_api(world.scene.workshop).headers),
        Sender("workshop", {"X-CSRFToken": token}, cookies),
    ]


def takes_anything(route: Route) -> bool:
    """Return whether a request to it can be wrong: by a parameter, a body or a sign-in."""
    operation = openapi()["paths"][route.template][route.method.lower()]
    places = {parameter["in"] for parameter in operation.get("parameters", [])}
    return bool(places - {"header"} or "requestBody" in operation or operation.get("security"))


@cache
def document() -> Any:
    """Return the OpenAPI document as schemathesis reads it; it costs a second, so it is kept."""
    schema = schemathesis.openapi.from_dict(openapi())
    schema.app = application
    return schema


def requests(route: Route, mode: GenerationMode, fixed: dict[str, str]) -> Any:
    """Return a strategy of requests to the route, to the objects in `fixed`."""
    operation = document()[route.template][route.method]
    return operation.as_strategy(generation_mode=mode, path_parameters=fixed)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_every_answer_is_one_the_document_tells_of(
    world: World, senders: list[Sender], route: Route, mode: GenerationMode
) -> None:
    """Each request is sent by all four: making one costs more than answering it."""
    if mode is GenerationMode.NEGATIVE and not takes_anything(route):
        return  # nothing can be wrong about it
    places = {sender.side: world.parameters(route.template, sender.side) for sender in senders}

    tried = 0

    @QUICK
    @given(case=requests(route, mode, places["dealer"]))
    def holds(case: Any) -> None:
        nonlocal tried
        tried += 1
        for sender in senders:
            COUNTER.clear()
            case.path_parameters.update(places[sender.side])
            with transaction.atomic():
                answer = case.call(headers=sender.headers, cookies=sender.cookies)
                transaction.set_rollback(True)
            case.validate_response(answer, checks=CHECKS)
            if sender.is_known and route.template != SIGN_IN:
                assert answer.status_code != UNKNOWN
            # What was made up to sign in with is good for the first, a stranger, only.
            case.headers.pop("Authorization", None)
            case.cookies.clear()

    with one_connection():
        holds()
    assert tried  # a strategy that makes nothing would pass everything
