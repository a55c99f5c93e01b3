"""Examples of the air for the OpenAPI document, worked out by the sums themselves."""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from jobs.work.answers.air import shown
from jobs.work.answers.air.outputs import ReadingTakenOutput
from jobs.work.models import ClimateReading, ClimateSetup, Forecast
from jobs.work.selectors.air import Air, SensorSeen
from jobs.work.services.air.readings import Outcome, Taken

_NOW = datetime(2027, 3, 1, 9, 30, tzinfo=UTC)
# Without `at`, so that the example can be sent as it stands at any time.
READING_SENT: dict[str, Any] = {"celsius": 12.4, "humidity_percent": 71.5, "sensor": "bay 2"}
SERIES_SENT: dict[str, Any] = {
    "readings": [
        {**READING_SENT, "at": "2027-03-01T09:20:00Z"},
        {**READING_SENT, "at": "2027-03-01T09:30:00Z", "humidity_percent": 118},
        {"celsius": 3.1, "humidity_percent": 92, "place": "outside", "at": "2027-03-01T09:30:00Z"},
    ]
}
HOURS: list[dict[str, Any]] = [
    {
        "at": f"2027-03-01T{hour:02}:00:00Z",
        "celsius": celsius,
        "humidity_percent": 90.0 - hour,
        "rain_chance_percent": rain,
    }
    for hour, celsius, rain in ((9, 3.5, 10.0), (10, 4.5, 10.0), (11, 6.0, 60.0))
]
FORECAST: dict[str, Any] = {"issued_at": "2027-03-01T08:00:00Z", "hours": HOURS}
FORECAST_SENT: dict[str, Any] = {"forecast": FORECAST}
CSV_SENT = "at,celsius,humidity_percent,sensor\r\n2027-03-01T09:20:00Z,12.4,71.5,bay 2\r\n"


def _reading(number: int, **fields: Any) -> ClimateReading:
    return ClimateReading(
        id=UUID(f"01951a2b-3c4d-7e5f-8a6b-{0x7C8D9E0F3000 + number:012x}"),
        recorded_at=_NOW,
        actor="Gauge in bay 2",
        **fields,
    )


_INSIDE = _reading(1, place="workshop", at=datetime(2027, 3, 1, 9, 20, tzinfo=UTC), **READING_SENT)
_OUTSIDE = _reading(2, place="outside", sensor="", at=_NOW, celsius=3.1, humidity_percent=92.0)
_SETUP = ClimateSetup(
    air=ClimateSetup.Air.FAN,
    forecast_url="https://weather.brackmoor.example/fernhollow.json",
    forecast_tried_at=_NOW,
    forecast_next_at=datetime(2027, 3, 1, 10, 34, tzinfo=UTC),
)
_FORECAST = Forecast(
    way=Forecast.Way.PULLED,
    issued_at=datetime(2027, 3, 1, 8, tzinfo=UTC),
    received_at=datetime(2027, 3, 1, 8, 12, tzinfo=UTC),
    hours=HOURS,
)
_REFUSED = ReadingTakenOutput(
    line=2,
    outcome=Outcome.REFUSED,
    code="range",
    message="humidity_percent: 118 % is not plausible: 0 to 100 is.",
    errors=[{"field": "humidity_percent", "message": "118 % is not plausible: 0 to 100 is."}],
    reading=None,
)
_LINES = [
    shown.line(1, Taken(_INSIDE, Outcome.TAKEN)),
    _REFUSED,
    shown.line(3, Taken(_OUTSIDE, Outcome.TAKEN)),
]
SERIES_TAKEN = shown.taken_in(_LINES, None)
READING_TAKEN = shown.taken_in(_LINES[:1], None)
AIR = shown.air(
    Air(
        latest={"workshop": _INSIDE, "outside": _OUTSIDE},
        readings=[_OUTSIDE, _INSIDE],
        more=False,
        sensors=[
            SensorSeen("outside", "", _NOW, 1, 0),
            SensorSeen("workshop", "bay 2", _INSIDE.at, 1, 0),
        ],
        setup=_SETUP,
        forecast=_FORECAST,
    ),
    at=_NOW,
    hours=24,
)
SETUP_SENT: dict[str, Any] = {"air": "fan", "forecast_url": _SETUP.forecast_url}
SETUP: dict[str, Any] = {
    "ready_by_itself": False,
    "air": "fan",
    "forecast_url": _SETUP.forecast_url,
    "forecast_tried_at": _SETUP.forecast_tried_at,
    "forecast_next_at": _SETUP.forecast_next_at,
    "forecast_problem": "",
}
