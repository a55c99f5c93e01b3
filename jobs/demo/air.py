"""The air of the day, what it does to what cures and dries, and hands that feel a seat."""

import time
from datetime import datetime, timedelta
from typing import Any

from jobs.demo.cast import Car
from jobs.demo.condition import NotingTablet
from jobs.demo.day import Day

FORECAST_HOURS = 36
RAIN_FROM_HOUR = 30
DAYLIGHT = range(8, 18)


class AirTablet(NotingTablet):
    """A tablet beside the thermometer."""

    def reads_the_air(
        self,
        at: str,
        celsius: float,
        humidity_percent: float,
        *,
        of: str = "",
        moves: Car | None = None,
    ) -> None:
        """Send a reading, of an earlier time of day where `of` says so.

        `moves`: the car whose end it moves by enough to be told of.
        """
        sent = time.monotonic()
        reading = {
            "place": "workshop",
            "celsius": celsius,
            "humidity_percent": humidity_percent,
            "at": self._time(of or at),
        }
        self.client.post("/workshop/climate", reading)
        when = f", read at {of} and sent only now" if of else ""
        text = f"reads {celsius:g} °C and {humidity_percent:g} % in the workshop{when}"
        notices = [self._notice(moves, "job.wait_changed", "")] if moves else []
        self.day.tell(at, self.client.name, moves, text, sent=sent, notices=notices)

    def sends_the_forecast(self, at: str) -> None:
        """Send a forecast for outside by the hour, as a script would."""
        sent = time.monotonic()
        hours = forecast(self.day, at)
        self.client.post("/workshop/climate", {"forecast": {"hours": hours}})
        text = f"sends a forecast of {len(hours)} hours, by a script"
        self.day.tell(at, self.client.name, None, text, sent=sent)

    def feels(self, car: Car, at: str, operation: str, *, dry: bool) -> None:
        """Feel whether it is dry, and write it down."""
        (clock,) = [
            clock for clock in self._read(car)["clocks"]
            if clock["operation"] == operation and clock["closed_at"] is None
        ]  # fmt: skip
        found = "dry" if dry else "still damp"
        path = f"clocks/{clock['id']}/touch-tests"
        _, sent = self._post(car, at, path, {"dry": dry})
        ends = clock["ends_at"]
        expected = f"by {self.day.shown_text(ends)}" if ends else "nobody can say when"
        text = f"feels the seats: {found} (by the sums, {expected})"
        self._tell(car, at, text, sent=sent)

    def reads_what_it_waits_for(self, car: Car, at: str) -> None:
        """Read between which moments all is done, and when the car may stand outside."""
        sent = time.monotonic()
        waits: dict[str, Any] = self.client.get(f"/jobs/{self._id(car)}/waits").json
        done, outside = waits["done_at"], waits["outside"]
        between = " and ".join(
            dict.fromkeys(
                self.day.shown_text(done[end]) if done[end] else "nobody can say when"
                for end in ("earliest", "latest")
            )
        )
        out = f"outside from {self.day.shown_text(outside['at'])}: " if outside["at"] else ""
        text = f"reads what it waits for: done between {between}"
        notes = [f"{out}{outside['reason']}"]
        self.day.tell(at, self.client.name, car, text, sent=sent, notes=notes)


def forecast(day: Day, at: str) -> list[dict[str, Any]]:
    """Return a dry, mild day that turns to rain the next afternoon."""
    begins: datetime = day.clock(at).replace(minute=0)
    return [
        {
            "at": (begins + timedelta(hours=hour)).isoformat(),
            "celsius": 9 + 4 * ((begins.hour + hour) % 24 in DAYLIGHT),
            "humidity_percent": 70,
            "rain_chance_percent": 80 if hour >= RAIN_FROM_HOUR else 2,
        }
        for hour in range(FORECAST_HOURS)
    ]
