"""Steps that the tests of findings share."""

from typing import Any

from core.clock import now
from core.ids import new_id
from jobs.work.models import Photo, Rendition
from jobs.work.models.photographs import SIZES
from notifications.models import Event
from tests.api.steps import done, told_once
from tests.scene import Api

CLICK = {
    "kind": "mechanical",
    "weight": "before_sale",
    "area": "left_front_wheel",
    "noticed": "A regular clicking from a front wheel.",
    "circumstance": "On full lock, moving",
    "advice": "Have it looked at before sale.",
}
STOP = {
    **CLICK,
    "weight": "do_not_drive",
    "area": "brakes",
    "noticed": "The brake pedal sinks under a steady foot.",
}
PAPERS = {
    "kind": "belongings",
    "weight": "for_information",
    "area": "dashboard",
    "noticed": "A letter from Larkholt Infirmary.",
    "circumstance": "Behind the sun visor of Nan Orrick",
    "advice": "Ring Nan Orrick.",
    "belonging": {"what": "document", "kept_at": "Office, drawer 3"},
}
PHONE = {**PAPERS, "noticed": "Nan's phone.", "belonging": {"what": "paired_phone"}}
SECRETS = ("Larkholt", "Orrick", "Nan", "drawer")


def report(api: Api, job: Any, body: Any = None, **more: Any) -> Any:
    """Report a finding and return the answer."""
    return api.post(f"/jobs/{job['id']}/findings", {**(CLICK if body is None else body), **more})


def found(api: Api, job: Any, body: Any = None, **more: Any) -> Any:
    """Report a finding that must go well, and return it."""
    return done(report(api, job, body, **more))


def acknowledge(api: Api, finding: Any, **more: Any) -> Any:
    """Acknowledge a finding and return the answer."""
    return api.post(f"/findings/{finding['id']}/acknowledge", more)


def clear(api: Api, finding: Any, **more: Any) -> Any:
    """Record that a "do not drive" was repaired, unless said otherwise; return the answer."""
    body = {"how": "repaired", "by": "Corm Mobile Mechanics", **more}
    return api.post(f"/findings/{finding['id']}/clear", body)


def withdraw(api: Api, finding: Any, reason: str = "Tapped on the wrong car.", **more: Any) -> Any:
    """Withdraw a "do not drive" and return the answer."""
    return api.post(f"/findings/{finding['id']}/withdraw", {"reason": reason, **more})


def told_of(finding: Any) -> list[tuple[Event, str, Any]]:
    """Return the events that name a finding, each with its type and data, schemas kept."""
    events = Event.objects.filter(type__startswith="finding.").order_by("number")
    with_data = [(event, *told_once(event)) for event in events]
    return [notice for notice in with_data if notice[2]["finding_id"] == finding["id"]]


def photo(job: Any) -> str:
    """Store a photograph of the job, without its files, and return its id."""
    row = Photo.objects.create(
        job_id=job["id"],
        client_id=new_id(),
        moment=Photo.Moment.DETAIL,
        format="JPEG",
        sha256="0" * 64,
        width=400,
        height=300,
        taken_at=now(),
        recorded_at=now(),
        actor="Tam Brackley",
    )
    for size in SIZES:
        Rendition.objects.create(
            photo=row, size=size, name=f"{row.pk}-{size}", sha256="0" * 64, length=1,
            width=size, height=size,
        )  # fmt: skip
    return str(row.pk)
