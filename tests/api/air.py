"""Steps of the tests about the air: readings and forecasts that are right as they stand."""

from datetime import UTC, datetime, timedelta
from typing import Any

from core.clock import now
from tests.api.steps import done
from tests.scene import Api

CLIMATE = "/workshop/climate"
SETUP = "/workshop/climate/setup"


def text(at: datetime) -> str:
    """Return a time as it is sent."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def ago(**span: float) -> str:
    """Return a time that is past."""
    return text(now() - timedelta(**span))


def measured(**changes: Any) -> dict[str, Any]:
    """Return a reading, with changes; None leaves a field out."""
    reading = {"celsius": 12.5, "humidity_percent": 70.0, "at": ago(minutes=5), **changes}
    return {name: value for name, value in reading.items() if value is not None}


def send(api: Api, *readings: Any, **more: Any) -> Any:
    """Send a series and return what became of it."""
    return done(api.post(CLIMATE, {"readings": list(readings), **more}))


def outcomes(answer: Any) -> list[str]:
    """Return the outcome of each reading."""
    return [line["outcome"] for line in answer["readings"]]


def foretold(*celsius: float, issued_at: str | None = None, **changes: Any) -> dict[str, Any]:
    """Return a forecast for the hours from this one on."""
    first = now().replace(minute=0, second=0, microsecond=0)
    hours = [
        {
            "at": text(first + timedelta(hours=index)),
            "celsius": degrees,
            "humidity_percent": 80.0,
            "rain_chance_percent": 10.0,
            **changes,
        }
        for index, degrees in enumerate(celsius or (5.0, 6.0, 7.0))
    ]
    return {"issued_at": issued_at or ago(hours=1), "hours": hours}
