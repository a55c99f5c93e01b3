"""Every route of the service, and one scene with an object for every place in an address."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from drf_spectacular.generators import SchemaGenerator

from accounts.caller import Access, Side
from accounts.models import Organisation, Person
from accounts.services import dealer_add, key_add, person_add
from core.api.rendering import to_json
from core.clock import now
from core.models import Sweep
from notifications.models import Delivery
from notifications.services.publish import events_publish
from tests.api.parts import FURNISHED
from tests.api.steps import arrived, detail, done, posted
from tests.scene import PASSWORD, Api, Scene, again, key_api, make_scene, person_api

METHODS = ("get", "post", "put", "patch", "delete")
UNMADE = ("admin/",)  # Django's own pages, for the operator
PLACE = re.compile(r"{[^}]*}")
FOR_RECIPIENTS = ("/api/v1/email-recipients/", "/notices/email/")


@dataclass(frozen=True, slots=True)
class Route:
    """One method of one address; places in the address are written {so}."""

    method: str
    template: str
    view: Any = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """Return what tests call it."""
        return f"{self.method} {self.template}"

    @property
    def access(self) -> Access | None:
        """Return what the method asks of its caller, or None where it is open to anyone."""
        access: Access | None = getattr(self.view, "access", {}).get(self.method)
        return access

    @property
    def shape(self) -> str:
        """Return the name with its places nameless, to compare templates by."""
        return PLACE.sub("{}", self.name)


def routes() -> list[Route]:
    """Return every route that the URL resolver knows, but for the admin's."""
    found = [
        Route(method, template, getattr(view, "cls", None) or getattr(view, "view_class", None))
        for template, view in _views(get_resolver().url_patterns, "/")
        if not template.startswith(tuple(f"/{prefix}" for prefix in UNMADE))
        for method in _methods(view)
    ]
    return sorted(found, key=lambda route: (route.template, route.method))


def _views(patterns: list[URLPattern | URLResolver], prefix: str) -> Iterator[tuple[str, Any]]:
    for entry in patterns:
        template = prefix + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", str(entry.pattern))
        if isinstance(entry, URLResolver):
            yield from _views(entry.url_patterns, template)
        else:
            yield template, entry.callback


def _methods(view: Any) -> list[str]:
    cls = getattr(view, "cls", None) or getattr(view, "view_class", None)
    if cls is None:
        return ["GET"]
    return [
        method.upper()
        for method in METHODS
        if method in cls.http_method_names and hasattr(cls, method)
    ]


@cache
def openapi() -> dict[str, Any]:
    """Return the OpenAPI document, as JSON would carry it."""
    made = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return dict(json.loads(to_json(made)))


def resolved(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the schema itself where it only points at a component."""
    while "$ref" in schema:
        schema = openapi()["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    return schema


class World:
    """The scene with jobs, endpoints and keys; `address` puts them into a template."""

    def __init__(self) -> None:
        self.scene = scene = make_scene()
        self._nobody = Api(Client())
        self._systems = {
            Side.DEALER: key_api(scene.dealer),
            Side.WORKSHOP: key_api(scene.workshop),
        }
        self._people = {
            Side.DEALER: person_api(scene.staff),
            Side.WORKSHOP: person_api(scene.owner),
        }
        self.places: dict[str, dict[str, str]] = {"dealer": {}, "workshop": {}}
        self._jobs(scene)
        for side, organisation in (("dealer", scene.dealer), ("workshop", scene.workshop)):
            self._notices(side, key_api(organisation))
            key = key_add(organisation=organisation, name="Spare", scopes=["jobs.read"]).key
            self.put("prefix", str(key.prefix), side)
        for name in ("deliver_due", "sweep_work"):
            Sweep.objects.create(name=name, last_run_at=now())
        for part in FURNISHED:
            part.furnish(self)

    def put(self, place: str, value: str, *sides: str) -> None:
        """Give the value for a place in an address, for both sides or those named."""
        for side in sides or ("dealer", "workshop"):
            self.places[side][place] = value

    def _jobs(self, scene: Scene) -> None:
        workshop = scene.workshop_api()
        job = arrived(scene, dealer_ref="PX-1", registration="TU21 ABD")
        first, second = detail(workshop, job)["tasks"]
        done(workshop.post(f"/jobs/{job['id']}/tasks/{second['id']}/start"))
        held = arrived(scene, dealer_ref="PX-2", registration="TU21 ABE")
        done(workshop.post(f"/jobs/{held['id']}/holds", {"cause": "parts"}))
        asking = dealer_add(name="Larkholt Cars", workshop=scene.workshop, accepts_by_itself=False)
        awaited = posted(key_api(asking.dealer))
        self.job = job
        self.version = job["version"]
        self.put("job_id", job["id"])
        self.put("task_id", first["id"])
        self.put("started", second["id"])
        self.put("held", held["id"])
        self.put("hold_id", detail(workshop, held)["holds"][0]["id"])
        self.put("awaited", awaited["id"])
        coming = posted(scene.dealer_api(), dealer_ref="PX-3", registration="TU21 ABF")
        self.put("accepted", coming["id"])
        self.put("account_id", str(scene.account.pk))

    def _notices(self, side: str, api: Api) -> None:
        webhook = done(api.post("/webhook-endpoints", {"url": f"http://127.0.0.1:9/{side}"}))
        email = {"email": f"{side}@notices.example", "event_types": ["job.ready"]}
        recipient = done(api.post("/email-recipients", email))
        assert api.post(f"/webhook-endpoints/{webhook['id']}/test").status_code == 202
        events_publish()
        delivery = Delivery.objects.get(
            endpoint_id=webhook["id"], event__only_endpoint_id=webhook["id"]
        )
        assert api.post(f"/email-recipients/{recipient['id']}/test").status_code == 202
        events_publish()
        letter = Delivery.objects.get(
            endpoint_id=recipient["id"], event__only_endpoint_id=recipient["id"]
        )
        self.put("endpoint_id", webhook["id"], side)
        self.put("recipient", recipient["id"], side)
        self.put("delivery_id", str(delivery.pk), side)
        self.put("letter", str(letter.pk), side)

    def caller(self, route: Route) -> tuple[Api, str]:
        """Return a caller who may use the route, and the side it is on."""
        access = route.access
        if access is None:
            return again(self._nobody), "dealer"
        side = Side.WORKSHOP if Side.WORKSHOP in access.sides else Side.DEALER
        if access.people_only:
            return again(self._people[side]), side.value
        return again(self._systems[side]), side.value

    def send(self, route: Route, body: bytes | str = b"", query: str = "", **headers: str) -> Any:
        """Call the route as somebody who may; what the call does is undone."""
        api, side = self.caller(route)
        kind = headers.pop("content_type", "application/json")
        address = self.address(route.template, side)
        with transaction.atomic():
            answer = api.client.generic(
                route.method,
                f"{address}?{query}" if query else address,
                body,
                content_type=kind,
                headers={**api.headers, **headers},
            )
            transaction.set_rollback(True)
        return answer

    def parameters(self, template: str, side: str = "dealer") -> dict[str, str]:
        """Return the objects of that side's organisation for the places of a template."""
        places = self.places[side]
        if template.startswith(FOR_RECIPIENTS):
            places = {
                **places, "endpoint_id": places["recipient"], "delivery_id": places["letter"]
            }  # fmt: skip
        return {name: places[name] for name in re.findall(r"{(\w+)}", template)}

    def address(self, template: str, side: str = "dealer") -> str:
        """Return the address with the objects of that side's organisation in it."""
        return template.format_map(self.parameters(template, side))


def person(organisation: Organisation, role: str) -> Person:
    """Return a new person of an organisation, with an e-mail address of their own."""
    email = f"{role}@{organisation.name.split()[0].lower()}.example"
    return person_add(
        organisation=organisation, email=email, name=f"A {role}", role=role, password=PASSWORD
    )[0]
