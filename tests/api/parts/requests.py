"""Requests for extra work, answers, changes seen."""

from datetime import timedelta
from typing import Any

from core.clock import now
from tests.api.asking import asked, opened, proposal, token_of
from tests.api.forms import Form
from tests.api.parts.furnishing import Furnishing
from tests.api.pictures import upload
from tests.api.steps import arrived, done, history

TABLE = """
GET    /api/v1/jobs/{job_id}/requests                                     ? +++ + +----- +---
POST   /api/v1/jobs/{job_id}/requests                                     ? +++ - -+---- ----
GET    /api/v1/requests/{request_id}                                      ? +++ + +----- +---
POST   /api/v1/requests/{request_id}/answer                               ? --- + ------ -+--
POST   /api/v1/requests/{asked_about}/reply                               ? +++ - -+---- ----
POST   /api/v1/requests/{request_id}/withdraw                             ? +++ - -+---- ----
GET    /decide/{token}                                                    + +++ + ++++++ ++++
POST   /decide/{token}                                                    + +++ + ++++++ ++++
GET    /decide/{token}/photos/{pictured}/{size}                           + +++ + ++++++ ++++
POST   /api/v1/jobs/{changed}/changes/{number}/seen                       ? +++ - -+---- ----
"""
_IN_AN_HOUR = f"{now() + timedelta(hours=1):%Y-%m-%dT%H:%M:%SZ}"
BODIES: dict[str, Any] = {
    "POST /api/v1/jobs/{job_id}/requests": proposal(answer_by=_IN_AN_HOUR),
    "POST /api/v1/requests/{request_id}/answer": {"answer": "approve"},
    "POST /api/v1/requests/{asked_about}/reply": {"text": "For a week or two only."},
    "POST /api/v1/requests/{request_id}/withdraw": {"reason": "The marks came off."},
    "POST /decide/{token}": Form(b"answer=approve", "application/x-www-form-urlencoded"),
}


def furnish(world: Furnishing) -> None:
    """Make an object for every place in these addresses."""
    workshop, dealer = world.scene.workshop_api(), world.scene.dealer_api()
    photo = done(upload(workshop, world.job))
    request = opened(workshop, world.job, photo_ids=[photo["id"]])
    world.put("request_id", request["id"])
    world.put("token", token_of(request))
    world.put("pictured", photo["id"])
    question = opened(workshop, world.job)
    asked(dealer, question)
    world.put("asked_about", question["id"])
    changed = arrived(world.scene, dealer_ref="PX-4", registration="TU21 ABG")
    done(dealer.patch(f"/work-orders/{changed['id']}", {"notes": "Keys are with Ines."}))
    world.put("changed", changed["id"])
    world.put("number", str(history(dealer, changed)[-1]["number"]))
