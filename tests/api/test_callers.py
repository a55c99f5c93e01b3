"""Who may call what: every route against every kind of caller, in one table.

The table stands in `tests/api/parts`, a file for each part of the service. A route or method
without a row, and a row without a route, fails a test. Callers of another
organisation get what their like gets here, except that an object in the address is missing to
them: the same 404 as for one that does not exist.
"""

import json
import re
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from pytest_django import DjangoDbBlocker

from accounts.api.throttling import COUNTER
from accounts.caller import Scope
from accounts.models import Organisation, Person
from tests.api.forms import Form
from tests.api.parts import PARTS
from tests.api.steps import NOWHERE
from tests.api.world import PLACE, World, person, routes
from tests.scene import Api, Scene, again, key_api, person_api

WORKSHOP_SCOPES = (
    "jobs.read",
    "jobs.work",
    "orders.decide",
    "jobs.override",
    "notices.manage",
    "prices.read",
    "flow.read",
    "forecast.write",
)
DEALER_SCOPES = ("jobs.read", "orders.write", "notices.manage", "prices.read")
TABLE = "".join(part.TABLE for part in PARTS)
BODIES: dict[str, Any] = {row: body for part in PARTS for row, body in part.BODIES.items()}
QUERIES: dict[str, str] = {
    row: query for part in PARTS for row, query in getattr(part, "QUERIES", {}).items()
}
CALLERS = [
    "nobody",
    *("owner", "manager", "valeter"),
    "staff",
    *(f"workshop key {scope}" for scope in WORKSHOP_SCOPES),
    *(f"dealer key {scope}" for scope in DEALER_SCOPES),
]
PEOPLE = CALLERS[:5]
WORKSHOP_KEYS = 4  # the place of their group in a row


def whole(groups: list[str]) -> list[str]:
    """Return a row's groups of signs, a short one of a workshop's keys filled up.

    It goes on with the sign that all of it have, else with -: what is open to one scope of the
    day's work is not to those for a single thing.
    """
    if len(groups) < WORKSHOP_KEYS:
        return groups
    keys = groups[WORKSHOP_KEYS - 1]
    more = keys[0] if len(set(keys)) == 1 else "-"
    return [
        *groups[: WORKSHOP_KEYS - 1],
        keys.ljust(len(WORKSHOP_SCOPES), more),
        *groups[WORKSHOP_KEYS:],
    ]


_SPLIT = [line.split() for line in TABLE.split("\n") if line.strip()]
ROWS = {f"{method} {template}": "".join(whole(cells)) for method, template, *cells in _SPLIT}
pytestmark = pytest.mark.django_db  # else no database is made for the answers
Kinds = dict[str, Callable[[], Api]]
NO_NUMBER = "999"  # of nothing that is counted within a job
TOKEN = "{token}"  # of a link: whoever has it may follow it, a stranger too
Answers = dict[str, dict[str, dict[str, Any]]]
SEE_OTHER = 303
SIGN = {401: "?", 403: "-", 404: "0"}


def sign(answer: Any) -> str:
    """Return the table's sign for an answer; + only for one that went well."""
    status = int(answer.status_code)
    return SIGN.get(
        status, "+" if status < 300 or status == 303 else f"<{status} {answer.content[:300]!r}>"
    )


def kinds(workshop: Organisation, dealer: Organisation) -> Kinds:
    """Return how each kind of caller calls, for one pair of organisations."""

    def signed_in(organisation: Organisation, role: str) -> Callable[[], Api]:
        found = Person.objects.filter(organisation=organisation, role=role).first()
        api = person_api(found or person(organisation, role))
        return lambda: again(api)

    def holding(organisation: Organisation, scope: str) -> Callable[[], Api]:
        api = key_api(organisation, [Scope(scope)])
        return lambda: again(api)

    return {
        "nobody": lambda: again(Api(Client())),
        **{role: signed_in(workshop, role) for role in ("owner", "manager", "valeter")},
        "staff": signed_in(dealer, "staff"),
        **{f"workshop key {scope}": holding(workshop, scope) for scope in WORKSHOP_SCOPES},
        **{f"dealer key {scope}": holding(dealer, scope) for scope in DEALER_SCOPES},
    }


def callers_of(row: str) -> list[str]:
    """Return who is asked; what is open authenticates nobody, so there two callers will do."""
    if len(ROWS[row]) == len(PEOPLE):
        return PEOPLE
    return CALLERS if "/api/v1/" in row else CALLERS[:2]


def side_of(caller: str) -> str:
    return "dealer" if caller.startswith(("staff", "dealer")) else "workshop"


def call(api: Api, row: str, address: str) -> Any:
    """Make the row's call."""
    method = row.split(maxsplit=1)[0]
    body = BODIES.get(row, {}) if method in {"POST", "PATCH"} else None
    if not isinstance(body, Form):
        body = Form(b"" if body is None else json.dumps(body).encode(), "application/json")
    return api.client.generic(
        method, address, body.content, content_type=body.content_type, headers=api.headers
    )


def ask(api: Api, row: str, address: str) -> Any:
    """Make the row's call, and undo what it did."""
    with transaction.atomic():
        answer = call(api, row, address)
        transaction.set_rollback(True)
    return answer


@pytest.fixture(scope="module")
def seen(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Answers:
    """Return what every caller was answered to every row: here, from another pair, of nothing."""
    del django_db_setup
    with django_db_blocker.unblock(), transaction.atomic():
        world = World()
        scene = world.scene
        own = kinds(scene.workshop, scene.dealer)
        strange = kinds(scene.stranger_workshop, scene.stranger_dealer)
        answers = {row: asked(row, world, own, strange) for row in ROWS}
        transaction.set_rollback(True)
    return answers


def asked(row: str, world: World, own: Kinds, strange: Kinds) -> dict[str, dict[str, Any]]:
    """Ask as every caller that the row is about, and as strangers where their like is let in."""
    COUNTER.clear()
    template = row.split()[1]
    query = f"?{QUERIES[row]}" if row in QUERIES else ""
    callers = callers_of(row)
    let_in = [who for who, sign in expected(row, callers).items() if sign == "+"]
    there = {who: world.address(template + query, side_of(who)) for who in callers}
    answers = {
        "own": {who: ask(own[who](), row, there[who]) for who in callers},
        "strange": {who: ask(strange[who](), row, there[who]) for who in let_in},
    }
    if PLACE.search(template):
        nowhere = PLACE.sub(
            NOWHERE,
            (template + query).replace("{number}", NO_NUMBER).replace("{version}", NO_NUMBER),
        )
        answers["nowhere"] = {who: ask(own[who](), row, nowhere) for who in let_in}
    return answers


def without_id(answer: Any) -> Any:
    """Return what an answer says but for the request's number and the page's own token."""
    if answer.headers["Content-Type"].startswith("text/html"):
        said = answer.content.decode()
        return re.sub(r'(number: [\w-]+)|(value="\w{64}")', "", said)
    return {name: value for name, value in answer.json().items() if name != "request_id"}


def test_every_route_has_a_row_and_every_row_a_route() -> None:
    shapes = {PLACE.sub("{}", row) for row in ROWS}
    assert shapes == {route.shape for route in routes()}
    assert len(ROWS) == len(shapes)
    assert {len(cells) for cells in ROWS.values()} == {len(CALLERS), len(PEOPLE)}
    assert {*BODIES, *QUERIES} <= set(ROWS)


def test_the_columns_are_every_scope_that_a_key_can_hold() -> None:
    from accounts.models import SIDE_SCOPES  # noqa: PLC0415

    assert set(WORKSHOP_SCOPES) == {str(scope) for scope in SIDE_SCOPES["workshop"]}
    assert set(DEALER_SCOPES) == {str(scope) for scope in SIDE_SCOPES["dealer"]}


def expected(row: str, callers: Iterable[str], found: str = "+") -> dict[str, str]:
    """Return the row's signs by caller; + becomes 0 where the object is not theirs."""
    known = PEOPLE if len(ROWS[row]) == len(PEOPLE) else CALLERS
    signs = dict(zip(known, ROWS[row].replace("+", found), strict=True))
    return {who: signs[who] for who in callers}


@pytest.mark.parametrize("row", ROWS)
def test_callers_may_do_what_the_table_says(seen: Answers, row: str) -> None:
    answers = {who: sign(answer) for who, answer in seen[row]["own"].items()}
    assert answers == expected(row, answers)


@pytest.mark.parametrize("row", ROWS)
def test_strangers_are_told_no_more_than_that_nothing_is_there(seen: Answers, row: str) -> None:
    found = "0" if PLACE.search(row) else "+"
    for kind in seen[row].keys() - {"own"}:
        answers = {who: sign(answer) for who, answer in seen[row][kind].items()}
        may_follow = TOKEN in row and kind == "strange"
        assert answers == expected(row, answers, "+" if may_follow else found)
    for who, missing in seen[row].get("nowhere", {}).items():
        strange = seen[row]["strange"][who]
        if missing.status_code == 404 and TOKEN not in row:
            assert without_id(strange) == without_id(missing)
            assert strange.headers.keys() == missing.headers.keys()


@pytest.mark.parametrize("row", ROWS)
def test_a_refusal_names_what_is_missing(seen: Answers, row: str) -> None:
    for answer in seen[row]["own"].values():
        if len(ROWS[row]) == len(PEOPLE):
            assert answer.status_code not in {401, 403} or "<h1>" in answer.content.decode()
            continue
        if answer.status_code == 403:
            body = answer.json()
            named = {"required_scope", "required_side", "required_role"} & set(body)
            assert named or "for people" in body["detail"]
            assert answer.headers["Content-Type"] == "application/problem+json"
        if answer.status_code == 401:
            assert answer.headers["WWW-Authenticate"].startswith("Bearer")
            assert answer.json()["type"] == "urn:shutline:problem:not-signed-in"


@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "PUT", "PROPFIND"])
def test_a_method_that_no_route_has_is_405_with_those_there_are(scene: Scene, method: str) -> None:
    api = scene.workshop_api()
    answer = api.client.generic(method, "/api/v1/jobs", headers=api.headers)
    assert answer.status_code == 405
    assert answer.json()["type"] == "urn:shutline:problem:wrong-method"
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD"}
