"""The air at the desk, and the touch test of what dries."""

from typing import Any

from core.clock import now
from jobs.work.models import Task, WaitClock
from tests.api.parts.furnishing import Form, Furnishing

TABLE = """
GET    /desk/climate                                            ? ++- -
POST   /desk/climate                                            ? ++- -
POST   /desk/climate/set-up                                     ? ++- -
GET    /desk/cars/{job_id}/clocks/{wet_clock}/touch-test        ? ++- -
POST   /desk/cars/{job_id}/clocks/{wet_clock}/touch-test        ? ++- -
"""


def typed(content: bytes) -> Form:
    """Return a form as a browser sends it."""
    return Form(content, "application/x-www-form-urlencoded")


BODIES: dict[str, Any] = {
    "POST /desk/climate": typed(b"place=workshop&celsius=12.4&humidity_percent=71"),
    "POST /desk/climate/set-up": typed(b"air=fan&forecast_url="),
    "POST /desk/cars/{job_id}/clocks/{wet_clock}/touch-test": typed(b"dry=true"),
}


def furnish(world: Furnishing) -> None:
    """Put something on the job in work that dries and wants a hand."""
    task = Task.objects.filter(job_id=world.job["id"]).order_by("pk")[0]
    at = now()
    clock = WaitClock.objects.create(
        job_id=world.job["id"],
        task=task,
        kind=WaitClock.Kind.DRYING,
        started_at=at,
        ends_at=at,
        reference_minutes=60,
        touch_test=True,
    )
    world.put("wet_clock", str(clock.pk))
