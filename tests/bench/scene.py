"""What the measurements need in the database."""

import json
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction

from accounts.caller import Scope
from accounts.services import key_add
from core.clock import now
from core.ids import new_id
from jobs.work.events import JOB_ARRIVED
from jobs.work.events.jobs import JOB_EXAMPLE
from jobs.work.models import Job
from notifications.models import Endpoint, Event
from notifications.services.outbox import event_append
from notifications.services.secrets import encrypt, new_secret
from tests.bench.bare import ROWS
from tests.scene import Scene, make_scene

ENDPOINTS = 32


@dataclass(frozen=True, slots=True)
class BenchScene:
    """A dealer with ready cars, a key, and endpoints that are all at one receiver."""

    scene: Scene
    prefix: str
    secret: str

    @property
    def headers(self) -> dict[str, str]:
        """Return the headers of the dealer's system."""
        return {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"}


def make() -> BenchScene:
    """Make the scene with ROWS ready cars among others."""
    scene = make_scene()
    fresh = key_add(organisation=scene.dealer, name="bench", scopes=[Scope.READ, Scope.ORDER])
    moment = now()
    Job.objects.bulk_create(
        Job(
            dealer=scene.dealer,
            workshop=scene.workshop,
            dealer_ref=f"S-{number}",
            registration=f"TU21 {number:03}",
            registration_key=f"TU21{number:03}",
            make="Corvane",
            model="Lynd 1.4",
            colour="Slate grey",
            stage="ready" if number < ROWS else "cleaning",
            decision="accepted",
            ready_number=number + 1 if number < ROWS else None,
            ready_at=moment if number < ROWS else None,
            version=5,
            received_at=moment,
            updated_at=moment,
        )
        for number in range(ROWS * 10)
    )
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return BenchScene(scene, fresh.key.prefix, fresh.secret)


def orders(tag: str, count: int, **more: Any) -> list[bytes]:
    """Return work orders that differ from one another."""
    return [
        json.dumps(
            {
                "dealer_ref": f"{tag}-{number}",
                "registration": f"J{tag} {number}",
                "make": "Corvane",
                "model": "Lynd 1.4",
                "operations": ["wash_body", "vacuum", "glass", "shuts"],
                **more,
            }
        ).encode()
        for number in range(count)
    ]


def endpoints(bench: BenchScene, url: str, *, count: int = ENDPOINTS) -> list[Endpoint]:
    """Make endpoints at the receiver, each with a secret of its own."""
    return [
        Endpoint.objects.create(
            organisation=bench.scene.dealer,
            channel=Endpoint.Channel.WEBHOOK,
            address=f"{url}/{number}",
            event_types=["work_order.declined"],  # none of the events here, but by name
            secret=encrypt(new_secret()),
        )
        for number in range(count)
    ]


def append(bench: BenchScene, endpoint: Endpoint) -> Event:
    """Commit one event for one endpoint."""
    with transaction.atomic():
        return event_append(
            type=JOB_ARRIVED.name,
            subject_id=new_id(),
            occurred_at=now(),
            data={"job": JOB_EXAMPLE},
            dealer_id=bench.scene.dealer.pk,
            only_endpoint_id=endpoint.pk,
        )
