"""How long work takes, at the desk."""

from typing import Any

from tests.api.forms import Form

TABLE = """
GET    /desk/durations                                ? ++- -
GET    /desk/cars/{timed}/estimate                    ? ++- -
POST   /desk/cars/{timed}/tasks/{timed_task}/minutes  ? ++- -
"""
BODIES: dict[str, Any] = {
    "POST /desk/cars/{timed}/tasks/{timed_task}/minutes": Form(
        b"minutes=45", "application/x-www-form-urlencoded"
    )
}
