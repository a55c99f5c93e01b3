"""The person at the tablet, one's own PIN and password, people, dealers, keys, tablets."""

from typing import Any

from tests.api.forms import Form
from tests.scene import PASSWORD

TABLE = """
GET    /tablet/who      ? +++ -
POST   /tablet/who      ? --- -
POST   /tablet/make     ? +++ -
GET    /me              ? +++ +
GET    /me/pin          ? +++ -
POST   /me/pin          ? +++ -
GET    /me/password     ? +++ +
POST   /me/password     ? +++ +
GET    /keys            ? +++ +
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
    "POST /me/password": typed(f"password={_NEW}&again={_NEW}&current={_CURRENT}"),
}
