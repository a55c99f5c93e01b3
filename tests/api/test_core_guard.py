"""Requests that no view should see are turned away, and odd JSON is a 400, never a 500."""

from typing import Any

import pytest
from django.test import Client, RequestFactory

from core.middleware import RequestGuardMiddleware
from tests.scene import Scene, person_api

MIB = 1024 * 1024


def post(client: Client, body: bytes, path: str = "/api/v1/session") -> Any:
    """Post a body as JSON."""
    return client.generic("POST", path, body, content_type="application/json")


def refused(response: Any, status: int) -> dict[str, Any]:
    """Return the problem after checking its status and type."""
    assert response.status_code == status, response.content
    assert response.headers["Content-Type"] == "application/problem+json"
    document: dict[str, Any] = response.json()
    return document


def test_a_body_over_the_limit_is_refused_before_it_is_read(client: Client) -> None:
    document = refused(post(client, b"x" * (MIB + 1)), 413)
    assert "1024 KiB" in document["detail"]


def test_a_body_of_just_the_limit_is_read(client: Client) -> None:
    assert "not JSON" in refused(post(client, b"x" * MIB), 400)["detail"]


@pytest.mark.parametrize("length", ["ten", "-1", "1.5", "\u0661", "0x10"])
def test_a_length_that_is_no_number_is_refused(client: Client, length: str) -> None:
    response = client.get("/api/v1/session", CONTENT_LENGTH=length)
    assert "Content-Length" in refused(response, 400)["detail"]


def test_a_length_of_thousands_of_digits_is_refused(client: Client) -> None:
    document = refused(client.get("/api/v1/session", CONTENT_LENGTH="9" * 5000), 413)
    assert "9" * 100 not in str(document)  # nor repeated


@pytest.mark.parametrize("query", ["a=%00", "%00=a", "a=b&c=d%00e", "a=\x00"])
def test_a_nul_byte_in_the_query_is_refused(client: Client, query: str) -> None:
    document = refused(client.get("/api/v1/session", QUERY_STRING=query), 400)
    assert "NUL" in document["detail"]


@pytest.mark.parametrize("query", ["a=%ff", "a=%c3%28", "a=%ed%a0%80", "a=\xff"])
def test_a_query_that_is_not_utf8_is_refused(client: Client, query: str) -> None:
    document = refused(client.get("/api/v1/session", QUERY_STRING=query), 400)
    assert "UTF-8" in document["detail"]


def test_a_nul_byte_in_the_path_is_refused(client: Client) -> None:
    assert "NUL" in refused(client.get("/api/v1/keys/a%00b"), 400)["detail"]


@pytest.mark.parametrize(
    "query", ["", "a=%C3%A9&b=caf\u00c3\u00a9", "a=100%", "a=%zz", "stage=ready&page_size=5"]
)
def test_an_ordinary_query_passes(query: str) -> None:
    request = RequestFactory().get("/api/v1/jobs")
    request.META["QUERY_STRING"] = query
    assert RequestGuardMiddleware.problem_with(request) is None


@pytest.mark.parametrize(
    "body",
    [
        b'{"email": "\\ud800", "password": "x"}',
        b'{"email": "\\udc00\\ud800", "password": "x"}',
        b"[" * 10_000 + b"]" * 10_000,
        b'{"a":' * 10_000 + b"1" + b"}" * 10_000,
        b'{"email": NaN}',
        b'{"email": -Infinity}',
        b'{"email": 1e999}',
        b'{"email": "\xff\xfe", "password": "x"}',
        b'{"email": "a\x00b"}',
        b"\xef\xbb\xbf{}",
        b"{",
        b"{'email': 'x'}",
        b'{"email": "x",}',
        b"\x00",
    ],
)
def test_what_is_not_json_is_a_400(client: Client, body: bytes) -> None:
    document = refused(post(client, body), 400)
    assert document["type"] == "urn:shutline:problem:invalid-request"
    assert len(document["detail"]) < 1000


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"null",
        b"0",
        b'"text"',
        b"[[]]",
        b'{"email": 1e308, "password": 99999999999999999999999999999999999999}',
        b'{"email": -0.0, "password": ' + b"9" * 5000 + b"}",
        b'{"email": {"$ne": ""}, "password": ["x"]}',
        b'{"email": true, "password": null}',
        b'{"email": "a\\u0000@fernhollow.example", "password": "\\u0000"}',
        b'{"email": "' + b"a" * 10_000 + b'@fernhollow.example", "password": "x"}',
        b'{"__proto__": {}, "": 1, "\\u202e": 2}',
    ],
)
def test_json_of_another_shape_is_a_400(client: Client, body: bytes) -> None:
    document = refused(post(client, body), 400)
    assert document["type"] == "urn:shutline:problem:invalid-request"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("name", "\u0000"),
        ("name", "\u202ekey"),
        ("name", "x" * 51),
        ("scopes", "jobs.read"),
        ("scopes", {"jobs.read": True}),
        ("scopes", [["jobs.read"]]),
        ("scopes", [10**18]),
        ("scopes", ["jobs.read"] * 1000),
        ("expires_at", 10**18),
        ("expires_at", "9999-12-31T23:59:59-14:00"),
        ("expires_at", "0001-01-01T00:00:00+14:00"),
        ("expires_at", "2027-03-01T09:30:00"),
        ("expires_at", "2027-03-01"),
        ("expires_at", "2001-01-01T00:00:00Z"),
        ("expires_at", ["2027-03-01T09:30:00Z"]),
    ],
)
def test_a_hostile_value_is_a_400_that_names_its_field(scene: Scene, name: str, value: Any) -> None:
    key = {"name": "till", "scopes": ["jobs.read"], name: value}
    document = refused(person_api(scene.manager).post("/keys", key), 400)
    assert document["errors"]
    assert all(entry["field"].partition(".")[0] == name for entry in document["errors"])
