"""The workshop's desk."""

from datetime import timedelta
from typing import Any

from django.utils.timezone import localtime

from core.clock import now
from tests.api.forms import Form

TABLE = """
GET    /desk/                                                   ? ++- -
GET    /desk/cars                                               ? ++- -
GET    /desk/over                                               ? ++- -
GET    /desk/waiting                                            ? ++- -
GET    /desk/due                                                ? ++- -
POST   /desk/due                                                ? ++- -
GET    /desk/log                                                ? ++- -
GET    /desk/cars/{job_id}                                      ? ++- -
POST   /desk/cars/{awaited}/accept                              ? ++- -
GET    /desk/cars/{awaited}/decline                             ? ++- -
POST   /desk/cars/{awaited}/decline                             ? ++- -
POST   /desk/cars/{accepted}/arrival                            ? ++- -
GET    /desk/cars/{job_id}/move                                 ? ++- -
POST   /desk/cars/{job_id}/move                                 ? ++- -
GET    /desk/cars/{job_id}/collection                           ? ++- -
POST   /desk/cars/{job_id}/collection                           ? ++- -
GET    /desk/cars/{ready_job}/correction                        ? ++- -
POST   /desk/cars/{ready_job}/correction                        ? ++- -
GET    /desk/cars/{job_id}/hold                                 ? ++- -
POST   /desk/cars/{job_id}/hold                                 ? ++- -
GET    /desk/cars/{held}/holds/{hold_id}/release                ? ++- -
POST   /desk/cars/{held}/holds/{hold_id}/release                ? ++- -
POST   /desk/cars/{changed}/changes/{number}/seen               ? ++- -
GET    /desk/cars/{job_id}/findings/{finding_id}/told           ? ++- -
POST   /desk/cars/{job_id}/findings/{finding_id}/told           ? ++- -
GET    /desk/cars/{stopped}/findings/{stop_id}/clear            ? ++- -
POST   /desk/cars/{stopped}/findings/{stop_id}/clear            ? ++- -
GET    /desk/cars/{stopped}/findings/{stop_id}/withdraw         ? ++- -
POST   /desk/cars/{stopped}/findings/{stop_id}/withdraw         ? ++- -
GET    /desk/cars/{job_id}/belongings/{thing_id}/back           ? ++- -
POST   /desk/cars/{job_id}/belongings/{thing_id}/back           ? ++- -
GET    /desk/cars/{job_id}/requests                             ? ++- -
POST   /desk/cars/{job_id}/requests                             ? ++- -
GET    /desk/cars/{job_id}/requests/{asked_about}/reply         ? ++- -
POST   /desk/cars/{job_id}/requests/{asked_about}/reply         ? ++- -
GET    /desk/cars/{job_id}/requests/{request_id}/withdraw       ? ++- -
POST   /desk/cars/{job_id}/requests/{request_id}/withdraw       ? ++- -
"""
PROPOSAL = (
    b"what=Polish+the+bonnet&why=It+is+dull.&if_not_done=It+stays+dull.&operations=polish_spot"
    b"&minutes=45&answer_by="
)


def typed(content: bytes) -> Form:
    """Return a form as a browser sends it."""
    return Form(content, "application/x-www-form-urlencoded")


def _proposal() -> Form:
    until = localtime(now()) + timedelta(days=2)
    return typed(PROPOSAL + f"{until:%Y-%m-%dT%H:%M}".encode())


BODIES: dict[str, Any] = {
    "POST /desk/due": typed(b"monday=960"),
    "POST /desk/cars/{awaited}/accept": typed(b""),
    "POST /desk/cars/{awaited}/decline": typed(b"reason=No+room."),
    "POST /desk/cars/{accepted}/arrival": typed(b""),
    "POST /desk/cars/{job_id}/move": typed(b"to=cleaning&version=3"),
    "POST /desk/cars/{job_id}/collection": typed(b"reason=Wanted+back.&confirm=true"),
    "POST /desk/cars/{ready_job}/correction": typed(b"version=5&reason=Wrong+car."),
    "POST /desk/cars/{job_id}/hold": typed(b"cause=parts"),
    "POST /desk/cars/{held}/holds/{hold_id}/release": typed(b""),
    "POST /desk/cars/{changed}/changes/{number}/seen": typed(b""),
    "POST /desk/cars/{job_id}/findings/{finding_id}/told": typed(b"told=Ines%2C+by+telephone"),
    "POST /desk/cars/{stopped}/findings/{stop_id}/clear": typed(b"how=repaired&by=Corm"),
    "POST /desk/cars/{stopped}/findings/{stop_id}/withdraw": typed(b"reason=Wrong+car."),
    "POST /desk/cars/{job_id}/belongings/{thing_id}/back": typed(b"returned_to=Ines"),
    "POST /desk/cars/{job_id}/requests": _proposal(),
    "POST /desk/cars/{job_id}/requests/{asked_about}/reply": typed(b"text=For+a+week+only."),
    "POST /desk/cars/{job_id}/requests/{request_id}/withdraw": typed(b"reason=It+came+off."),
}
