"""The public catalogue, and the same in the OpenAPI document as webhooks."""

from typing import Any

import pytest
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from jsonschema import Draft202012Validator, ValidationError

from notifications.catalogue import EventType, event_types
from tests.scene import Api, Scene, order

KINDS = list(event_types().values())


def check(notice: Any, schema: Any) -> None:
    Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(
        notice
    )


@pytest.fixture
def published() -> dict[str, Any]:
    response = Api(Client()).get("/event-types")
    assert response.status_code == 200
    return {entry["name"]: entry for entry in response.json()["event_types"]}


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    generator = SchemaGenerator()  # type: ignore[no-untyped-call]
    found: dict[str, Any] = generator.get_schema(public=True)  # type: ignore[no-untyped-call]
    return found


def test_the_catalogue_is_public_and_needs_no_database(published: dict[str, Any]) -> None:
    assert list(published) == [kind.name for kind in KINDS]
    assert {"endpoint.tested", "job.ready", "work_order.received"} <= set(published)
    stale_key = Client().get("/api/v1/event-types", headers={"Authorization": "Bearer old.key"})
    assert stale_key.status_code == 200


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_each_schema_is_one_and_its_example_fits_it(
    published: dict[str, Any], kind: EventType
) -> None:
    entry = published[kind.name]
    assert entry["summary"] == kind.summary
    assert entry["schema"]["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(entry["schema"])
    check(entry["example"], entry["schema"])


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_each_schema_refuses_what_is_not_its_notice(
    published: dict[str, Any], kind: EventType
) -> None:
    entry = published[kind.name]
    for wrong in (
        {**entry["example"], "type": "job.flown"},
        {**entry["example"], "data": {}},
        {name: value for name, value in entry["example"].items() if name != "timestamp"},
    ):
        with pytest.raises(ValidationError):
            check(wrong, entry["schema"])


def test_the_notices_of_a_cars_way_fit_the_published_schemas(
    scene: Scene, published: dict[str, Any]
) -> None:
    dealer, workshop = scene.dealer_api(), scene.workshop_api()
    job = dealer.post("/work-orders", order()).json()
    path = f"/jobs/{job['id']}"
    workshop.post(f"{path}/arrival")
    workshop.post(f"{path}/moves", {"to": "cleaning", "version": 3})
    workshop.post(f"{path}/holds", {"cause": "parts", "reason": "Wheel trim to come."})
    endpoint = dealer.post("/webhook-endpoints", {"url": "https://stock.brackmoor.example/"}).json()
    dealer.post(f"/webhook-endpoints/{endpoint['id']}/test")
    notices = dealer.get("/events").json()["events"]
    assert {"work_order.received", "job.stage_changed", "job.held", "endpoint.tested"} <= {
        notice["type"] for notice in notices
    }
    for notice in notices:
        check(notice, published[notice["type"]]["schema"])


def test_the_openapi_document_holds_every_type_as_a_webhook(document: dict[str, Any]) -> None:
    validate_schema(document)  # type: ignore[no-untyped-call]
    assert list(document["webhooks"]) == [kind.name for kind in KINDS]
    operations = [webhook["post"] for webhook in document["webhooks"].values()]
    names = [operation["operationId"] for operation in operations]
    assert len(set(names)) == len(names)
    for operation in operations:
        headers = [parameter["name"] for parameter in operation["parameters"]]
        assert headers == ["webhook-id", "webhook-timestamp", "webhook-signature"]
        assert "2XX" in operation["responses"]
        content = operation["requestBody"]["content"]["application/json"]
        check(content["examples"]["notice"]["value"], content["schema"])


def test_every_operation_of_this_api_has_its_examples(document: dict[str, Any]) -> None:
    ours = ("/webhook-endpoints", "/email-recipients", "/events", "/event-types")
    checked = 0
    for path, methods in document["paths"].items():
        if not path.removeprefix("/api/v1").startswith(ours):
            continue
        for method, operation in methods.items():
            bodies = [operation["requestBody"]] if "requestBody" in operation else []
            if method != "delete":
                code = next(code for code in operation["responses"] if code.startswith("2"))
                bodies.append(operation["responses"][code])
            for body in bodies:
                assert body["content"]["application/json"]["examples"], f"{method} {path}"
            checked += 1
    assert checked == 19
