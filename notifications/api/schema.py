"""Puts the notices this service sends into its OpenAPI document, as `webhooks`."""

from typing import Any

from notifications.catalogue import EventType, event_types

TAG = "notices"


def _header(name: str, description: str, schema: dict[str, Any], example: Any) -> dict[str, Any]:
    return {
        "name": name,
        "in": "header",
        "required": True,
        "description": description,
        "schema": schema,
        "example": example,
    }


# The headers of Standard Webhooks 1.0.0; the example is the specification's test vector.
HEADERS = [
    _header(
        "webhook-id",
        "The event's id: the same at every attempt and every replay. Keep ids for four days and "
        "act once on each.",
        {"type": "string"},
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
    ),
    _header(
        "webhook-timestamp",
        "When this attempt was made, in whole Unix seconds.",
        {"type": "string", "pattern": "^[0-9]+$"},
        "1614265330",
    ),
    _header(
        "webhook-signature",
        "One or more signatures separated by spaces, each `v1,` and the base64 of the HMAC-SHA256 "
        "of `{id}.{timestamp}.{body}`. Verify the raw body, before it is parsed.",
        {"type": "string"},
        "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    ),
]
RESPONSES = {
    "2XX": {"description": "Taken. Nothing else counts as taken; redirects are not followed."},
    "410": {"description": "Gone for good: the endpoint is disabled."},
    "default": {"description": "Not taken: tried again later, as Retry-After says if it is there."},
}


def add_webhooks(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Postprocessing hook: add one webhook for every event type in the catalogue."""
    result["webhooks"] = {kind.name: {"post": _operation(kind)} for kind in event_types().values()}
    return result


def _operation(kind: EventType) -> dict[str, Any]:
    return {
        "operationId": f"notice_{kind.name.replace('.', '_')}",
        "summary": kind.summary.rstrip("."),
        "tags": [TAG],
        "parameters": HEADERS,
        "requestBody": {
            "required": True,
            "content": {
                "application/json": {
                    "schema": kind.schema,
                    "examples": {"notice": {"value": kind.example}},
                }
            },
        },
        "responses": RESPONSES,
    }
