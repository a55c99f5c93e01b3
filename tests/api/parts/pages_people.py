"""The person at the tablet, one's own PIN and password, people, dealers, keys, tablets."""

from typing import Any

from accounts.services import dealer_add, device_add
from tests.api.forms import Form
from tests.api.parts.furnishing import Furnishing
from tests.scene import PASSWORD

TABLE = """
GET    /tablet/who      ? +++ -
POST   /tablet/who      ? --- -
POST   /tablet/make     ? ++- -
GET    /me              ? +++ +
GET    /me/pin          ? +++ -
POST   /me/pin          ? +++ -
GET    /me/password     ? +++ +
POST   /me/password     ? +++ +
GET    /desk/people                        ? ++- -
GET    /desk/people/new                    ? ++- -
POST   /desk/people/new                    ? ++- -
GET    /desk/people/{person_id}            ? ++- -
POST   /desk/people/{person_id}            ? ++- -
POST   /desk/people/{person_id}/pin        ? ++- -
POST   /desk/people/{person_id}/password   ? ++- -
GET    /desk/dealers                       ? ++- -
GET    /desk/dealers/new                   ? ++- -
POST   /desk/dealers/new                   ? ++- -
GET    /desk/dealers/{account_id}          ? ++- -
POST   /desk/dealers/{account_id}          ? ++- -
GET    /desk/dealers/{unstaffed}/person    ? ++- -
POST   /desk/dealers/{unstaffed}/person    ? ++- -
GET    /desk/tablets                       ? ++- -
GET    /desk/tablets/{device_id}           ? ++- -
POST   /desk/tablets/{device_id}           ? ++- -
GET    /keys                               ? ++- +
GET    /keys/new                           ? ++- +
POST   /keys/new                           ? ++- +
GET    /keys/{prefix}                      ? ++- +
POST   /keys/{prefix}                      ? ++- +
"""


def typed(text: str) -> Form:
    """Return a form as a browser sends it."""
    return Form(text.encode(), "application/x-www-form-urlencoded")


_CURRENT = PASSWORD.replace(" ", "+")
_NEW = "three+quiet+words"
BODIES: dict[str, Any] = {
    "POST /tablet/who": typed("person=&pin=2580"),
    "POST /tablet/make": typed("name=Bay+1"),
    "POST /me/pin": typed(f"pin=2580&again=2580&current={_CURRENT}"),
    "POST /desk/people/new": typed("name=Neve+Sallow&email=neve%40new.example&role=valeter"),
    "POST /desk/people/{person_id}": typed("name=Tam+B&role=valeter&is_active=on"),
    "POST /desk/dealers/new": typed("name=Larkholt+Motors&accepts_by_itself=on"),
    "POST /desk/dealers/{account_id}": typed("active=on"),
    "POST /desk/dealers/{unstaffed}/person": typed("name=Dara+Quill&email=dara%40new.example"),
    "POST /keys/new": typed("name=Till&scopes=jobs.read&lasts=90"),
    "POST /me/password": typed(f"password={_NEW}&again={_NEW}&current={_CURRENT}"),
}


def furnish(world: Furnishing) -> None:
    """Make a tablet and a dealer in whose name nobody signs in; and point at somebody."""
    workshop = world.scene.workshop
    device = device_add(workshop=workshop, name="Bay 2", person=world.scene.owner).device
    world.put("device_id", str(device.pk))
    world.put("unstaffed", str(dealer_add(name="Wexmoor Cars", workshop=workshop).pk))
    world.put("person_id", str(world.scene.valeter.pk))
