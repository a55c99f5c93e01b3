"""The invented scene of the tests, and clients that speak JSON for its systems and people."""

import json
from dataclasses import dataclass
from http.cookies import SimpleCookie
from typing import Any

from django.test import Client
from django.test.client import ClientHandler

from accounts.caller import Scope, Side
from accounts.models import Organisation, Person, TradeAccount
from accounts.proofs import SESSION_BY_PIN, SESSION_PASSWORD_AT, Proof
from accounts.services import dealer_add, key_add, person_add, workshop_add
from core.clock import now

DEALER_SCOPES = [Scope.READ, Scope.ORDER, Scope.NOTICES, Scope.PRICES]
WORKSHOP_SCOPES = [
    Scope.READ,
    Scope.WORK,
    Scope.DECIDE,
    Scope.OVERRIDE,
    Scope.NOTICES,
    Scope.PRICES,
    Scope.FLOW,
    Scope.FORECAST,
]
PASSWORD = "long enough to keep"


class Api:
    """A caller of the API: every method takes a path below /api/v1 and speaks JSON."""

    def __init__(self, client: Client, headers: dict[str, str] | None = None) -> None:
        self.client = client
        self.headers = headers or {}

    def call(
        self, method: str, path: str, data: Any = None, headers: dict[str, str] | None = None
    ) -> Any:
        """Send one request and return Django's response."""
        return self.client.generic(
            method,
            f"/api/v1{path}",
            data if isinstance(data, (str, bytes)) else self._json(data),
            content_type=(headers or {}).get("Content-Type", "application/json"),
            headers={**self.headers, **(headers or {})},
        )

    @staticmethod
    def _json(data: Any) -> str:
        return "" if data is None else json.dumps(data, default=str)

    def get(self, path: str, **headers: str) -> Any:
        """Send a GET."""
        return self.call("GET", path, headers=headers)

    def post(self, path: str, data: Any = None, headers: dict[str, str] | None = None) -> Any:
        """Send a POST."""
        return self.call("POST", path, {} if data is None else data, headers)

    def patch(self, path: str, data: Any) -> Any:
        """Send a PATCH."""
        return self.call("PATCH", path, data)

    def delete(self, path: str) -> Any:
        """Send a DELETE."""
        return self.call("DELETE", path)


_HANDLER = ClientHandler(enforce_csrf_checks=False)


def again(api: Api) -> Api:
    """Return the same caller as from a browser that was just opened, which costs next to nothing.

    A new client of Django's loads the middleware anew, and signing in takes as long again.
    """
    client = Client()
    client.handler = _HANDLER
    client.cookies = SimpleCookie({name: kept.value for name, kept in api.client.cookies.items()})
    return Api(client, api.headers)


def key_api(organisation: Organisation, scopes: list[Scope] | None = None) -> Api:
    """Return a caller with a fresh key, by default with every scope of its side."""
    every = DEALER_SCOPES if organisation.kind == Side.DEALER else WORKSHOP_SCOPES
    fresh = key_add(
        organisation=organisation, name="tests", scopes=[str(scope) for scope in scopes or every]
    )
    return Api(Client(), {"Authorization": f"Bearer {fresh.secret}"})


def with_proof(person: Person, proof: Proof = Proof.FRESH_PASSWORD, minutes_ago: int = 0) -> Client:
    """Return a browser in which somebody is signed in, by PIN or with their password of then."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    session = client.session
    session[SESSION_BY_PIN] = proof is Proof.PIN
    session[SESSION_PASSWORD_AT] = int(now().timestamp()) - 60 * minutes_ago
    session.save()
    return client


def person_api(person: Person) -> Api:
    """Return a caller signed in as a person, with the password given just now."""
    return Api(with_proof(person))


def show_password(client: Client) -> None:
    """Give the password of the person who is signed in again, at the time it is now."""
    session = client.session
    session[SESSION_PASSWORD_AT] = int(now().timestamp())
    session.save()


@dataclass(slots=True)
class Scene:
    """One workshop with its dealer and people, and a second pair of strangers."""

    account: TradeAccount
    stranger_account: TradeAccount
    owner: Person
    manager: Person
    valeter: Person
    staff: Person

    @property
    def dealer(self) -> Organisation:
        """Return the dealer."""
        return self.account.dealer

    @property
    def workshop(self) -> Organisation:
        """Return the workshop."""
        return self.account.workshop

    @property
    def stranger_dealer(self) -> Organisation:
        """Return the other workshop's dealer."""
        return self.stranger_account.dealer

    @property
    def stranger_workshop(self) -> Organisation:
        """Return the other workshop."""
        return self.stranger_account.workshop

    def dealer_api(self) -> Api:
        """Return the dealer's stock system."""
        return key_api(self.dealer)

    def workshop_api(self) -> Api:
        """Return the workshop's system."""
        return key_api(self.workshop)


def _person(organisation: Organisation, name: str, role: str) -> Person:
    email = f"{name.split(maxsplit=1)[0].lower()}@{role}.example"
    return person_add(
        organisation=organisation, email=email, name=name, role=role, password=PASSWORD
    )[0]


def make_scene() -> Scene:
    """Make the scene in the database."""
    workshop = workshop_add(name="Fernhollow Valeting", contact_email="desk@fernhollow.example")
    account = dealer_add(
        name="Brackmoor Cars", workshop=workshop, contact_email="stock@brackmoor.example"
    )
    stranger_account = dealer_add(
        name="Quillhaven Motors", workshop=workshop_add(name="Otterslade Valeting")
    )
    return Scene(
        account=account,
        stranger_account=stranger_account,
        owner=_person(workshop, "Odile Farrant", Person.Role.OWNER),
        manager=_person(workshop, "Milo Treen", Person.Role.MANAGER),
        valeter=_person(workshop, "Tam Brackley", Person.Role.VALETER),
        staff=_person(account.dealer, "Ines Okafor-Lind", Person.Role.STAFF),
    )


def order(**changes: Any) -> dict[str, Any]:
    """Return a work order that is right as it stands, with changes."""
    base = {
        "dealer_ref": "PX-1042",
        "registration": "TU21 ABC",
        "make": "Corvane",
        "model": "Lynd 1.4",
        "operations": ["wash_body", "vacuum"],
    }
    return {**base, **changes}
