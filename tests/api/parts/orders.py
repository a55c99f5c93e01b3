"""Everything up to work orders, the stage machine and notices."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import ready
from tests.scene import PASSWORD, order

TABLE = """
GET    /api/docs                                                          + +++ + ++++++ ++++
GET    /api/openapi.json                                                  + +++ + ++++++ ++++
GET    /api/reference                                                     + +++ + ++++++ ++++
GET    /healthz                                                           + +++ + ++++++ ++++
GET    /readyz                                                            + +++ + ++++++ ++++
GET    /metrics                                                           0 000 0 000000 0000

GET    /api/v1/session                                                    ? +++ + ++++++ ++++
POST   /api/v1/session                                                    + +++ + ++++++ ++++
DELETE /api/v1/session                                                    ? +++ + ------ ----
GET    /api/v1/keys                                                       ? ++- + ------ ----
POST   /api/v1/keys                                                       ? ++- + ------ ----
GET    /api/v1/keys/{prefix}                                              ? ++- + ------ ----
DELETE /api/v1/keys/{prefix}                                              ? ++- + ------ ----
GET    /api/v1/trade-accounts                                             ? +++ + +----- +---
GET    /api/v1/trade-accounts/{account_id}                                ? +++ + +----- +---
PATCH  /api/v1/trade-accounts/{account_id}                                ? ++- - ------ ----

POST   /api/v1/work-orders                                                ? --- + ------ -+--
POST   /api/v1/work-orders/batch                                          ? --- + ------ -+--
GET    /api/v1/work-orders/columns                                        ? +++ + ++++++ ++++
GET    /api/v1/work-orders/template                                       ? +++ + ++++++ ++++
PATCH  /api/v1/work-orders/{job_id}                                       ? --- + ------ -+--
POST   /api/v1/work-orders/{job_id}/cancel                                ? --- + ------ -+--
POST   /api/v1/work-orders/{awaited}/accept                               ? ++- - --+--- ----
POST   /api/v1/work-orders/{awaited}/decline                              ? ++- - --+--- ----

GET    /api/v1/jobs                                                       ? +++ + +----- +---
GET    /api/v1/jobs/{job_id}                                              ? +++ + +----- +---
GET    /api/v1/jobs/{job_id}/history                                      ? +++ + +----- +---
POST   /api/v1/jobs/{accepted}/arrival                                    ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/moves                                        ? +++ - -+---- ----
POST   /api/v1/jobs/{ready_job}/corrections                               ? ++- - ---+-- ----
POST   /api/v1/jobs/{job_id}/collection                                   ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/holds                                        ? +++ - -+---- ----
POST   /api/v1/jobs/{held}/holds/{hold_id}/release                        ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/tasks                                        ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/tasks/{task_id}/start                        ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/tasks/{started}/finish                       ? +++ - -+---- ----
GET    /api/v1/ready                                                      ? --- + ------ +---

GET    /api/v1/events                                                     ? +++ + +----- +---
GET    /api/v1/event-types                                                + +++ + ++++++ ++++
GET    /api/v1/webhook-endpoints                                          ? ++- + ----+- --+-
POST   /api/v1/webhook-endpoints                                          ? ++- + ----+- --+-
GET    /api/v1/webhook-endpoints/{endpoint_id}                            ? ++- + ----+- --+-
PATCH  /api/v1/webhook-endpoints/{endpoint_id}                            ? ++- + ----+- --+-
DELETE /api/v1/webhook-endpoints/{endpoint_id}                            ? ++- + ----+- --+-
POST   /api/v1/webhook-endpoints/{endpoint_id}/rotate-secret              ? ++- + ----+- --+-
POST   /api/v1/webhook-endpoints/{endpoint_id}/test                       ? ++- + ----+- --+-
GET    /api/v1/webhook-endpoints/{endpoint_id}/deliveries                 ? ++- + ----+- --+-
POST   /api/v1/webhook-endpoints/{endpoint_id}/replay                     ? ++- + ----+- --+-
POST   /api/v1/webhook-endpoints/{endpoint_id}/deliveries/{delivery_id}/replay  ? ++- + ----+- --+-
GET    /api/v1/email-recipients                                           ? ++- + ----+- --+-
POST   /api/v1/email-recipients                                           ? ++- + ----+- --+-
GET    /api/v1/email-recipients/{recipient}                               ? ++- + ----+- --+-
PATCH  /api/v1/email-recipients/{recipient}                               ? ++- + ----+- --+-
DELETE /api/v1/email-recipients/{recipient}                               ? ++- + ----+- --+-
POST   /api/v1/email-recipients/{recipient}/test                          ? ++- + ----+- --+-
GET    /api/v1/email-recipients/{recipient}/deliveries                    ? ++- + ----+- --+-
"""
BODIES: dict[str, Any] = {
    "POST /api/v1/session": {"email": "odile@owner.example", "password": PASSWORD},
    "POST /api/v1/keys": {"name": "Stock system", "scopes": ["jobs.read"]},
    "PATCH /api/v1/trade-accounts/{account_id}": {"accepts_by_itself": False},
    "POST /api/v1/work-orders": order(),
    "POST /api/v1/work-orders/batch": {"work_orders": [order()]},
    "PATCH /api/v1/work-orders/{job_id}": {"colour": "Slate grey"},
    "POST /api/v1/work-orders/{awaited}/decline": {"reason": "No room before Friday."},
    "POST /api/v1/jobs/{ready_job}/corrections": {"version": 5},
    "POST /api/v1/jobs/{job_id}/moves": {"to": "cleaning", "version": 3},
    "POST /api/v1/jobs/{job_id}/collection": {"reason": "Wanted back.", "confirm": True},
    "POST /api/v1/jobs/{job_id}/holds": {"cause": "parts"},
    "POST /api/v1/jobs/{job_id}/tasks": {"operation": "pet_hair"},
    "POST /api/v1/webhook-endpoints": {"url": "http://127.0.0.1:9/new"},
    "PATCH /api/v1/webhook-endpoints/{endpoint_id}": {"description": "Stock system"},
    "POST /api/v1/webhook-endpoints/{endpoint_id}/replay": {
        "from": "2027-03-01T09:00:00Z",
        "to": "2027-03-01T10:00:00Z",
    },
    "POST /api/v1/email-recipients": {
        "email": "new@notices.example",
        "event_types": ["job.ready"],
    },
    "PATCH /api/v1/email-recipients/{recipient}": {"description": "Front desk"},
}


def furnish(world: Furnishing) -> None:
    """Make a car that is ready, to be corrected."""
    job = ready(world.scene, dealer_ref="PX-6", registration="TU21 ABH")
    world.put("ready_job", job["id"])
