"""Malformed and hostile requests: every route tells what is wrong, and none has a fault of ours."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from accounts.models import ApiKey
from accounts.services import key_revoke
from core.clock import now
from tests.api.steps import NOWHERE, fields, posted, refused
from tests.api.world import PLACE, Route, World, openapi, resolved, routes
from tests.scene import Api, Scene, key_api, order, person_api

pytestmark = pytest.mark.django_db

ROUTES = [route for route in routes() if route.template.startswith("/api/v1/")]
WRITES = [route for route in ROUTES if route.method in {"POST", "PATCH"}]

NUL = "a\u0000b"
DEEP: Any = "x"
for _ in range(20):
    DEEP = [DEEP]
# Refused in every field of every kind.
NEVER = {"NUL": NUL, "object": {"a": 1}, "deep": DEEP, "list of NUL": [NUL]}
# Whatever the answer, it is no fault of ours.
STRANGE: list[Any] = [
    None,
    True,
    "",
    " ",
    -1,
    0,
    1.5,
    10**30,
    -(10**30),
    1e308,
    -0.0,
    "9" * 5000,
    "NaN",
    "Infinity",
    "-0",
    "1e999999999",
    "1E-999999999",
    "x" * 100_000,
    "\u202e\ufeff\u2028",
    "\U0010ffff",
    "0001-01-01T00:00:00+23:59",
    "9999-12-31T23:59:59-23:59",
    "2027-13-45T99:99:99Z",
    "2027-W09-1",
    "0000-00-00",
    NOWHERE.upper(),
    [],
    [None],
    ["x"] * 1000,
    [[]],
]
BODIES: dict[str, bytes] = {
    "empty": b"",
    "cut off": b'{"a": ',
    "not JSON": b"registration=TU21+ABC",
    "bad UTF-8": b'{"registration": "TU21 \xff"}',
    "UTF-16": '{"registration": "TU21 ABC"}'.encode("utf-16"),
    "byte order mark": b"\xef\xbb\xbf{}",
    "lone high surrogate": rb'{"registration": "\ud800"}',
    "lone low surrogate": rb'{"registration": "\udc00 TU21"}',
    "surrogate in a name": rb'{"\ud800": 1}',
    "NaN": b'{"mileage": NaN}',
    "Infinity": b'{"mileage": -Infinity}',
    "too large a number": b'{"mileage": 1e400}',
    "10,000 lists deep": b'{"registration": ' + b"[" * 10_000 + b"]" * 10_000 + b"}",
    "10,000 objects deep": b'{"a": ' * 10_000 + b"1" + b"}" * 10_000,
    "1,000 lists deep": b'{"registration": ' + b"[" * 1000 + b"]" * 1000 + b"}",
    "NUL outside a text": b"{}\x00",
    "two values": b"{} {}",
    "a comment": b"{} // what",
}
NOT_OBJECTS = {
    "null": b"null",
    "list": b"[]",
    "text": b'"TU21 ABC"',
    "number": b"7",
    "true": b"true",
}


@pytest.fixture
def scene(world: World) -> Scene:
    """Return the scene of the world: one file has one scene only."""
    return world.scene


def ids(route: Route) -> str:
    return route.name


def operation(route: Route) -> dict[str, Any]:
    """Return what the OpenAPI document says of the route."""
    return dict(openapi()["paths"][route.template][route.method.lower()])


def request_body(route: Route) -> dict[str, Any] | None:
    """Return what the document says of the route's JSON body, if it reads one."""
    content: dict[str, Any] = operation(route).get("requestBody", {}).get("content", {})
    body: dict[str, Any] | None = content.get("application/json")
    return body


READING = [route for route in WRITES if request_body(route) is not None]


def example(route: Route) -> dict[str, Any]:
    """Return the document's example of the body."""
    body = request_body(route)
    assert body is not None
    return dict(next(iter(body["examples"].values()))["value"])


def field_names(route: Route) -> list[str]:
    """Return the fields of the body."""
    body = request_body(route)
    assert body is not None
    return list(resolved(body["schema"])["properties"])


def named(answer: Any) -> set[str]:
    """Return the first part of the name of every wrong field."""
    return {name.partition(".")[0] for name in fields(answer)}


def well(answer: Any) -> bool:
    """Return whether the answer is no fault of ours, and a problem document if it refuses."""
    if answer.status_code >= 400:
        refused(answer, answer.status_code)
    return int(answer.status_code) < 500


@pytest.mark.parametrize("route", READING, ids=ids)
def test_an_unknown_field_is_refused_by_name_with_those_there_are(
    world: World, route: Route
) -> None:
    answer = world.send(route, json.dumps({**example(route), "colur": 1, "": 2, "a.b": 3}))
    assert {"colur", "a"} <= named(answer)
    message = next(error for error in answer.json()["errors"] if error["field"] == "colur")[
        "message"
    ]
    assert all(name in message for name in field_names(route))


@pytest.mark.parametrize("route", READING, ids=ids)
def test_no_field_takes_what_no_field_can_hold(world: World, route: Route) -> None:
    for name in field_names(route):
        for kind, value in NEVER.items():
            answer = world.send(route, json.dumps({**example(route), name: value}))
            if name == "work_orders" and isinstance(value, list):
                assert answer.json()["refused"] == 1  # each line is answered on its own
                continue
            assert answer.status_code == 400, (name, kind, answer.content)
            assert name in named(answer), (name, kind)


@pytest.mark.parametrize("route", READING, ids=ids)
def test_no_value_in_any_field_is_a_fault_of_ours(world: World, route: Route) -> None:
    for name in field_names(route):
        for value in STRANGE:
            answer = world.send(route, json.dumps({**example(route), name: value}))
            assert well(answer), (name, value)


@pytest.mark.parametrize("body", BODIES)
@pytest.mark.parametrize("route", WRITES, ids=ids)
def test_a_body_that_is_no_json_is_refused(world: World, route: Route, body: str) -> None:
    answer = world.send(route, BODIES[body])
    if route in READING and body != "empty":
        problem = refused(answer, 400, "invalid-request")
        assert "JSON" in problem["detail"] or "nested" in problem["detail"]
    assert well(answer)


@pytest.mark.parametrize("body", NOT_OBJECTS)
@pytest.mark.parametrize("route", READING, ids=ids)
def test_json_that_is_no_object_is_refused(world: World, route: Route, body: str) -> None:
    problem = refused(world.send(route, NOT_OBJECTS[body]), 400, "invalid-request")
    assert not set(problem) & {"id", "job_id", "tasks"}  # nothing was made, and nothing is shown


@pytest.mark.parametrize("route", READING, ids=ids)
@pytest.mark.parametrize(
    "kind",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "multipart/form-data",
        "application/xml",
        "application/json-patch+json",
        "nonsense",
        "application/",
        ";",
        "application/json\u0100",
        "",
    ],
)
def test_a_content_type_that_is_not_read_is_refused(world: World, route: Route, kind: str) -> None:
    answer = world.send(route, json.dumps(example(route)), content_type=kind)
    problem = refused(answer, 415, "wrong-content-type")
    assert "application/json" in problem["next_step"]


@pytest.mark.parametrize("route", READING, ids=ids)
def test_json_with_a_character_set_named_is_read(world: World, route: Route) -> None:
    body = json.dumps({**example(route), "colur": 1})
    answer = world.send(route, body, content_type="application/json; charset=utf-8")
    assert "colur" in named(answer)


@pytest.mark.parametrize("route", [*WRITES, *ROUTES[:1]], ids=ids)
def test_a_body_over_the_limit_is_413_and_one_of_just_that_size_is_read(
    world: World, route: Route
) -> None:
    limit = route.view.body_limit_bytes()
    mebibytes = 20 if route.name.endswith("/photos") else 1
    assert limit == mebibytes * 1024 * 1024
    problem = refused(world.send(route, b" " * (limit + 1)), 413, "too-large")
    assert f"{mebibytes * 1024} KiB" in problem["detail"]
    assert world.send(route, b" " * limit).status_code != 413


@pytest.mark.parametrize("length", ["-1", "many", "1e3", "\u0663", "9" * 5000, "+1"])
def test_a_content_length_that_is_no_length_is_refused(scene: Scene, length: str) -> None:
    answer = scene.dealer_api().client.post(
        "/api/v1/work-orders",
        b"{}",
        content_type="application/json",
        headers=scene.dealer_api().headers,
        CONTENT_LENGTH=length,
    )
    assert answer.status_code in {400, 413}


def query_names(route: Route) -> list[str]:
    return [
        parameter["name"]
        for parameter in operation(route).get("parameters", [])
        if parameter["in"] == "query"
    ]


@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_a_parameter_that_a_route_does_not_know_is_refused_by_name(
    world: World, route: Route
) -> None:
    body = json.dumps(example(route)) if route in READING else ""
    answer = world.send(route, body, query="colur=grey&limit_=5")
    assert fields(answer) == ["colur", "limit_"]
    for name in query_names(route):
        assert name in answer.json()["detail"]


@pytest.mark.parametrize("bytes_", ["%00", "a%00b", "%FF", "%ED%A0%80", "%C0%AF"])
@pytest.mark.parametrize("route", ROUTES, ids=ids)
def test_a_query_that_cannot_be_text_is_refused(world: World, route: Route, bytes_: str) -> None:
    for name in [*query_names(route), "colur"]:
        problem = refused(world.send(route, query=f"{name}={bytes_}"), 400, "invalid-request")
        assert "\x00" not in problem["detail"]


@pytest.mark.parametrize("route", [route for route in ROUTES if query_names(route)], ids=ids)
def test_no_parameter_is_a_fault_of_ours(world: World, route: Route) -> None:
    values = [
        "",
        "x",
        "-1",
        "0",
        "9" * 5000,
        "1e999",
        "%20",
        "%E2%80%AE",
        "x" * 5000,
        "[]",
        "%",
        "&",
    ]
    for name in query_names(route):
        for value in values:
            assert well(world.send(route, query=f"{name}={value}")), (name, value)
            assert well(world.send(route, query=f"{name}={value}&{name}={value}")), (name, value)


ODD_PLACES = [
    *("%00", "%FF", "%ED%A0%80", "%F0%9F%9A%97", "%2F", ".."),
    *("x" * 3000, "7", NOWHERE.upper(), NOWHERE + "0"),
]


@pytest.mark.parametrize("route", [route for route in ROUTES if "{" in route.template], ids=ids)
def test_no_address_is_a_fault_of_ours(world: World, route: Route) -> None:
    api, _ = world.caller(route)
    for odd in ODD_PLACES:
        address = PLACE.sub(odd, route.template)
        answer = api.client.generic(route.method, address, "{}", headers=api.headers)
        assert answer.status_code in {400, 404, 405, 415}, address
        assert well(answer)


@pytest.mark.parametrize("key", ["", " ", "x" * 256, "caf\u00e9", "a\tb", "a\u0000b"])
@pytest.mark.parametrize(
    "route", [write for write in WRITES if write.method == "POST" and write.access], ids=ids
)
def test_an_idempotency_key_that_is_none_is_refused(world: World, route: Route, key: str) -> None:
    if not route.view.keeps_answers:
        return
    body = json.dumps(example(route)) if route in READING else ""
    answer = world.send(route, body, **{"Idempotency-Key": key})
    if key.strip():
        assert fields(answer) == ["Idempotency-Key"]
    assert well(answer)


@pytest.mark.parametrize("route", [route for route in ROUTES if route.method == "GET"], ids=ids)
def test_no_header_is_a_fault_of_ours(world: World, route: Route) -> None:
    for name, values in {
        "Accept": ["", "text/html", "application/json;q=x", "*/*;", "\u00ff", "a" * 5000, "/"],
        "If-None-Match": ["", "*", '"', 'W/"x', "\u00ff", "," * 5000],
        "If-Modified-Since": ["yesterday", "\u00ff", "Mon, 01 Jan 9999999 00:00:00 GMT"],
        "Cookie": ["sessionid=\u00ff", "sessionid=" + "x" * 5000, "=;=", "csrftoken=\x01"],
        "X-Request-ID": ["", "\u00ff", "x" * 5000, "a b"],
    }.items():
        for value in values:
            assert well(world.send(route, **{name: value})), (name, value)


def test_odd_signs_are_written_down_without_harm(scene: Scene) -> None:
    job = posted(scene.dealer_api(), notes="\u202e\U0001f697 \u2028 </script>")
    # Without the sign that turns the direction; a line separator is a new line.
    assert job["notes"] == "\U0001f697 \n </script>"


def prefix_of(api: Api) -> str:
    return api.headers["Authorization"].removeprefix("Bearer ").partition(".")[0]


def unlocked(key: str) -> Any:
    return Client().get("/api/v1/jobs", headers={"Authorization": key})


@pytest.mark.parametrize(
    "header",
    [
        "Bearer",
        "Bearer ",
        "Bearer .",
        "Bearer nothing",
        "Bearer abcdefgh.wrong",
        "Bearer abc\u00e9fgh.wrong",
        "bearer " + "x" * 5000,
        "Basic dXNlcjpwYXNz",
        "Token abcdefgh.secret",
        "\u00ff",
        "",
    ],
)
def test_a_key_that_is_none_is_401(scene: Scene, header: str) -> None:
    del scene
    answer = unlocked(header)
    problem = refused(answer, 401, "not-signed-in")
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="Shutline"'
    assert "Bearer" in problem["next_step"]


def test_a_key_with_another_secret_is_unknown(scene: Scene) -> None:
    header = scene.dealer_api().headers["Authorization"]
    assert refused(unlocked(header[:-1] + "~"), 401)["detail"] == "This key is not known here."


def test_a_revoked_key_is_401_with_the_reason(scene: Scene) -> None:
    api = scene.dealer_api()
    key_revoke(key=ApiKey.objects.get(prefix=prefix_of(api)))
    for path in ("/jobs", "/ready"):
        problem = refused(api.get(path), 401, "not-signed-in")
        assert problem["detail"] == "This key was revoked."
        assert problem["next_step"] == "Ask for a new key."


def test_an_expired_key_is_401_with_the_reason(scene: Scene) -> None:
    api = scene.dealer_api()
    past = now() - timedelta(seconds=1)
    ApiKey.objects.filter(prefix=prefix_of(api)).update(expiry_date=past)
    for path in ("/jobs", "/ready"):
        problem = refused(api.get(path), 401, "not-signed-in")
        assert problem["detail"] == "This key has expired."
        assert problem["next_step"] == "Ask for a new key."


def test_a_missing_scope_is_403_naming_it(scene: Scene) -> None:
    from accounts.caller import Scope  # noqa: PLC0415

    api = key_api(scene.dealer, [Scope.READ])
    problem = refused(api.post("/work-orders", order()), 403, "not-allowed")
    assert problem["required_scope"] == "orders.write"
    assert "orders.write" in problem["detail"]


def test_a_person_who_is_no_longer_active_is_nobody(scene: Scene) -> None:
    api = person_api(scene.valeter)
    assert api.get("/jobs").status_code == 200
    scene.valeter.is_active = False
    scene.valeter.save()
    refused(api.get("/jobs"), 401, "not-signed-in")


@pytest.mark.usefixtures("still_minute")
@pytest.mark.parametrize("who", ["key", "person"])
def test_a_caller_over_the_limit_is_429_with_the_time_to_wait(
    scene: Scene, settings: Any, who: str
) -> None:
    settings.REQUESTS_PER_MINUTE = 2
    api = scene.dealer_api() if who == "key" else person_api(scene.staff)
    answers = [api.post("/work-orders", {}) for _ in range(4)]
    assert [answer.status_code for answer in answers] == [400, 400, 429, 429]
    problem = refused(answers[-1], 429, "too-many-requests")
    assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60
    assert "Retry-After" in problem["next_step"]
    assert key_api(scene.dealer).get("/jobs").status_code == 200  # each caller has its own


def test_every_wrong_field_is_named_at_once(scene: Scene) -> None:
    wrong = order(
        registration="T*21",
        vin="SHORT",
        mileage="far",
        purpose="show",
        due_at="2027-03-01T09:00:00",
        operations=["full_valit"],
        cap_amount="1.234",
        cap_currency="pounds",
        contact_email="nobody",
        colur="grey",
    )
    answer = scene.dealer_api().post("/work-orders", wrong)
    assert named(answer) == set(wrong) - {"dealer_ref", "make", "model"}
    assert answer.json()["detail"].startswith("10 fields are not right")


def test_a_long_address_for_mail_is_refused_not_cut(scene: Scene) -> None:
    long = f"{'a' * 60}@{'.'.join(['b' * 60] * 4)}.example"
    assert 254 < len(long) < 320
    answer = scene.dealer_api().post("/work-orders", order(contact_email=long))
    assert fields(answer) == ["contact_email"]


def test_a_strangers_page_cannot_write_with_a_persons_cookie(scene: Scene) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(scene.staff, backend="django.contrib.auth.backends.ModelBackend")
    problem = refused(Api(client).post("/work-orders", order()), 403, "not-allowed")
    assert "csrf" in problem["next_step"].lower()
