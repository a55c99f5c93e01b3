"""Findings, belongings, ready phrases, walk-rounds."""

from typing import Any

from tests.api.parts.furnishing import Furnishing
from tests.api.steps import arrived, done
from tests.scene import person_api

TABLE = """
GET    /api/v1/areas                                                      ? +++ + ++++++ ++++
GET    /api/v1/phrases                                                    ? +++ - -+---- ----
POST   /api/v1/phrases                                                    ? ++- - --+--- ----
PATCH  /api/v1/phrases/{code}                                             ? ++- - --+--- ----
DELETE /api/v1/phrases/{code}                                             ? ++- - --+--- ----
GET    /api/v1/jobs/{job_id}/findings                                     ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/findings                                     ? +++ - -+---- ----
GET    /api/v1/findings/{finding_id}                                      ? +++ + +----- +---
POST   /api/v1/findings/{finding_id}/acknowledge                          ? ++- + ---+-- -+--
POST   /api/v1/findings/{stop_id}/clear                                   ? +++ + -+---- -+--
POST   /api/v1/findings/{stop_id}/withdraw                                ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/belongings/{thing_id}/return                 ? +++ - -+---- ----
POST   /api/v1/jobs/{job_id}/belongings/{data_id}/wiped                   ? +++ - -+---- ----
GET    /api/v1/walk-round-items                                           ? +++ + ++++++ ++++
GET    /api/v1/jobs/{job_id}/walk-rounds                                  ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/walk-rounds                                  ? +++ - -+---- ----
"""
OWN = {
    "code": "sand_everywhere",
    "group": "inside",
    "kind": "interior",
    "weight": "for_information",
    "noticed": "Sand in every corner.",
}
BODIES: dict[str, Any] = {
    "POST /api/v1/phrases": {**OWN, "code": "sand_again"},
    "PATCH /api/v1/phrases/{code}": {"noticed": "Sand all over."},
    "POST /api/v1/jobs/{job_id}/findings": {
        "kind": "mechanical",
        "weight": "before_sale",
        "area": "left_front_wheel",
        "noticed": "It clicks.",
    },
    "POST /api/v1/findings/{finding_id}/acknowledge": {"told": "Ines, by telephone"},
    "POST /api/v1/findings/{stop_id}/clear": {"how": "repaired", "by": "Corm Mobile Mechanics"},
    "POST /api/v1/findings/{stop_id}/withdraw": {"reason": "Tapped on the wrong car."},
    "POST /api/v1/jobs/{job_id}/belongings/{thing_id}/return": {"returned_to": "Ines"},
    "POST /api/v1/jobs/{job_id}/belongings/{data_id}/wiped": {"wiped": True},
    "POST /api/v1/jobs/{job_id}/walk-rounds": {"occasion": "arrival", "mileage": 41250},
}


def furnish(world: Furnishing) -> None:
    """Make an object for every place in these addresses."""
    workshop, path = world.scene.workshop_api(), f"/jobs/{world.job['id']}/findings"
    done(workshop.post("/phrases", OWN))
    world.put("code", OWN["code"])
    finding = done(workshop.post(path, BODIES["POST /api/v1/jobs/{job_id}/findings"]))
    world.put("finding_id", finding["id"])
    stop = stopped(world)
    world.put("stop_id", stop["id"])
    world.put("stopped", stop["job_id"])
    for place, phrase, belonging in (
        ("thing_id", "papers_left", {"what": "document", "kept_at": "Office, drawer 3"}),
        ("data_id", "phone_paired", {"what": "paired_phone"}),
    ):
        body = {"phrase": phrase, "area": "dashboard", "belonging": belonging}
        made = done(workshop.post(path, body))["belonging"]["id"]
        world.put(place, made)
        world.put("belonging_id", made)


def stopped(world: Furnishing) -> Any:
    """Return a "do not drive" that the valeter reported, on a car of its own."""
    job = arrived(world.scene, dealer_ref="PX-31", registration="TU21 ABU")
    brakes = {"kind": "mechanical", "area": "brakes", "noticed": "The pedal sinks."}
    body = {**brakes, "weight": "do_not_drive"}
    return done(person_api(world.scene.valeter).post(f"/jobs/{job['id']}/findings", body))
