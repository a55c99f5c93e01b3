"""The OpenAPI document: complete, without a warning, and with examples that are true to it."""

from collections.abc import Iterator
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from jsonschema import Draft202012Validator

from notifications.catalogue import event_types
from tests.api.steps import FORMATS
from tests.api.world import Route, openapi, resolved, routes

ROUTES = [route for route in routes() if route.template.startswith("/api/v1/")]
READS = {"GET", "DELETE"}
# Answers that come from every place: DRF, the middleware and the limits.
SHARED = {"400", "406", "503"}
GUARDED = {"401", "403", "429"}


def ids(route: Route) -> str:
    return route.name


def operation(route: Route) -> dict[str, Any]:
    return dict(openapi()["paths"][route.template][route.method.lower()])


def contents(route: Route) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every body that the operation reads or answers well with, by what it is."""
    described = operation(route)
    for kind, body in described.get("requestBody", {}).get("content", {}).items():
        yield f"request {kind}", body
    for status, answer in described["responses"].items():
        if status.startswith("2"):
            for kind, body in answer.get("content", {}).items():
                yield f"answer {status} {kind}", body


def wrong(schema: dict[str, Any], value: Any) -> list[str]:
    """Return what keeps the value from fitting the schema."""
    whole = {**schema, "components": openapi()["components"]}
    errors = Draft202012Validator(whole, format_checker=FORMATS).iter_errors(value)
    return [f"{error.json_path}: {error.message}" for error in errors]


def unnamed(schema: dict[str, Any], value: Any, path: str = "$") -> Iterator[str]:
    """Yield where an example has a name that the schema does not, or lacks one it has."""
    schema = resolved(schema)
    for part in schema.get("allOf", []):
        schema = {**schema, **resolved(part)}
    properties = schema.get("properties", {})
    if isinstance(value, dict) and properties:
        yield from (f"{path}.{name}" for name in value.keys() ^ properties.keys())
        for name in value.keys() & properties.keys():
            yield from unnamed(properties[name], value[name], f"{path}.{name}")
    elif isinstance(value, list) and "items" in schema:
        for item in value:
            yield from unnamed(schema["items"], item, f"{path}[]")


def test_the_document_is_openapi_3_1_and_made_without_a_warning() -> None:
    GENERATOR_STATS.reset()
    made = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    assert not GENERATOR_STATS, dict(GENERATOR_STATS._warn_cache)
    assert made["openapi"].startswith("3.1.")
    validate_schema(made)  # type: ignore[no-untyped-call]


def test_the_document_has_every_route_and_nothing_else() -> None:
    names = {
        f"{method.upper()} {path}"
        for path, methods in openapi()["paths"].items()
        for method in methods
    }
    assert names == {route.name for route in ROUTES}


def test_every_operation_has_a_name_of_its_own_a_summary_and_a_description() -> None:
    operations = [operation(route) for route in ROUTES]
    names = [described["operationId"] for described in operations]
    assert len(names) == len(set(names))
    for described in operations:
        assert 5 < len(described["summary"]) < 120
        assert not described["summary"].endswith(".")
        assert described["description"].startswith(described["summary"][:20])
        assert described["tags"]


@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_every_body_has_an_example_and_every_example_fits(route: Route) -> None:
    found = dict(contents(route))
    for what, body in found.items():
        examples = [example["value"] for example in body.get("examples", {}).values()]
        assert examples, f"{what} has no example"
        for value in examples:
            assert wrong(body["schema"], value) == []
    if route.method != "DELETE":
        assert any(what.startswith("answer") for what in found)


@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_an_example_of_an_answer_shows_every_field_there_is(route: Route) -> None:
    for what, body in contents(route):
        if what.startswith("answer"):
            for example in body["examples"].values():
                assert list(unnamed(body["schema"], example["value"])) == []


@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_every_operation_tells_the_problems_it_can_answer_with(route: Route) -> None:
    answers = operation(route)["responses"]
    wanted = SHARED | (GUARDED if route.access else set())
    wanted |= {"404"} if "{" in route.template else set()
    wanted |= {"413", "415"} if route.method in {"POST", "PATCH"} else set()
    assert wanted <= set(answers)
    for status, answer in answers.items():
        if status.startswith(("4", "5")):
            (kind,) = answer["content"]
            assert kind == "application/problem+json"
            assert answer["content"][kind]["schema"]["$ref"].endswith("/Problem")


@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_every_operation_says_how_to_sign_in_unless_it_is_open(route: Route) -> None:
    ways = {name for way in operation(route).get("security", []) for name in way}
    if route.access is None:
        assert ways == set()
    elif route.access.people_only:
        assert "signIn" in ways
    else:
        assert ways == {"apiKey", "signIn"}
    schemes = openapi()["components"]["securitySchemes"]
    assert schemes["apiKey"]["scheme"] == "bearer"
    assert schemes["signIn"]["in"] == "cookie"


def test_every_event_is_a_webhook_whose_example_fits() -> None:
    webhooks = openapi()["webhooks"]
    assert list(webhooks) == list(event_types())
    for name, kind in event_types().items():
        notice = webhooks[name]["post"]
        assert notice["summary"]
        body = notice["requestBody"]["content"]["application/json"]
        assert body["schema"]["properties"]["type"]["const"] == name
        for example in body["examples"].values():
            assert wrong(body["schema"], example["value"]) == []
            assert example["value"]["type"] == name
        assert list(unnamed(body["schema"], kind.example)) == []
        names = {header["name"] for header in notice["parameters"]}
        assert names == {"webhook-id", "webhook-timestamp", "webhook-signature"}


def test_the_check_of_examples_notices_a_wrong_one() -> None:
    schema = {"$ref": "#/components/schemas/JobOutput"}
    good = next(
        example["value"]
        for example in operation(Route("POST", "/api/v1/work-orders"))["responses"]["201"][
            "content"
        ]["application/json"]["examples"].values()
    )
    assert wrong(schema, good) == []
    assert wrong(schema, {**good, "stage": "washing"})
    assert wrong(schema, {**good, "received_at": "2027-03-01T09:00:00"})
    assert wrong(schema, {**good, "id": "seven"})
    assert list(unnamed(schema, {**good, "paint": "grey"})) == ["$.paint"]
    short = {name: value for name, value in good.items() if name != "colour"}
    assert list(unnamed(schema, short)) == ["$.colour"]


def test_the_document_is_served_as_it_is_made(client: Any) -> None:
    served = client.get("/api/openapi.json")
    assert served.status_code == 200
    assert served.json()["paths"].keys() == openapi()["paths"].keys()
    assert served.json()["webhooks"].keys() == openapi()["webhooks"].keys()
