"""Whatever is sent, the answer is one that the OpenAPI document tells of.

Schemathesis makes requests from the document, good and bad, for a dealer's key, a workshop's key
and a signed-in owner, and calls the WSGI application with them.
"""

from collections.abc import Iterator
from contextlib import contextmanager
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


def dealer(world: World) -> tuple[dict[str, str], str]:
    return key_api(world.scene.dealer).headers, "dealer"


def workshop(world: World) -> tuple[dict[str, str], str]:
    return key_api(world.scene.workshop).headers, "workshop"


def owner(world: World) -> tuple[dict[str, str], str]:
    """Return the cookies and the token that a signed-in person's browser sends."""
    api = person_api(world.scene.owner)
    token = api.get("/session").json()["csrf_token"]
    cookies = "; ".join(f"{name}={one.value}" for name, one in api.client.cookies.items())
    return {"Cookie": cookies, "X-CSRFToken": token}, "workshop"


def takes_anything(route: Route) -> bool:
    """Say whether a request to it can be wrong: by a parameter, a body or a sign-in."""
    told = openapi()["paths"][route.template][route.method.lower()]
    places = {parameter["in"] for parameter in told.get("parameters", [])}
    return bool(places - {"header"} or "requestBody" in told or told.get("security"))


def requests(route: Route, mode: GenerationMode, fixed: dict[str, str]) -> Any:
    """Return a strategy of requests to the route, to the objects in `fixed`."""
    schema = schemathesis.openapi.from_dict(openapi())
    schema.app = application
    operation = schema[route.template][route.method]
    return operation.as_strategy(generation_mode=mode, path_parameters=fixed)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
@pytest.mark.parametrize("caller", [dealer, workshop, owner])
@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.name)
def test_every_answer_is_one_the_document_tells_of(
    world: World, route: Route, caller: Any, mode: GenerationMode
) -> None:
    if mode is GenerationMode.NEGATIVE and not takes_anything(route):
        return  # nothing can be wrong about it
    headers, side = caller(world)
    fixed = world.parameters(route.template, side)

    tried = 0

    @QUICK
    @given(case=requests(route, mode, fixed))
    def holds(case: Any) -> None:
        nonlocal tried
        tried += 1
        COUNTER.clear()
        with transaction.atomic():
            answer = case.call(headers=headers)
            transaction.set_rollback(True)
        case.validate_response(answer, checks=CHECKS)

    with one_connection():
        holds()
    assert tried  # a strategy that makes nothing would pass everything
