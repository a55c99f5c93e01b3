"""The air on the tablet: a reading of the thermometer, the last ones, and what is forecast."""

from datetime import datetime, timedelta

from django.http import HttpRequest, HttpResponse

from accounts.caller import Caller
from core.clock import now
from jobs.tablet.base import TabletPage
from jobs.tablet.paint import PAD
from jobs.work.calc.air.climate import Frost, frost_risk
from jobs.work.calc.air.forecasts import HIGHEST_CELSIUS, LOWEST_CELSIUS, ForecastHour
from jobs.work.models import Place
from jobs.work.selectors.air import Air, air_of, forecast_hours, is_stale
from jobs.work.words.air import FROST_WORDS, AirNow

SHOWN_READINGS = 8
SHOWN_HOURS = 12
LOOKED_BACK = timedelta(hours=48)


class ClimatePage(TabletPage):
    """The workshop's air."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the pad for a reading, and what is known."""
        at = now()
        air = air_of(caller.organisation_id, since=at - LOOKED_BACK, at=at)
        return self.page(
            request,
            caller,
            "jobs/tablet/climate.html",
            at=at,
            pad=PAD,
            lowest=LOWEST_CELSIUS,
            highest=HIGHEST_CELSIUS,
            places=[(place, _now(air, place.value, at)) for place in Place],
            readings=air.readings[:SHOWN_READINGS],
            setup=air.setup,
            forecast=air.forecast,
            hours=_hours(air, at),
            stale=air.forecast is not None and is_stale(air.forecast, at=at),
        )


def _now(air: Air, place: str, at: datetime) -> AirNow | None:
    reading = air.latest.get(place)
    return AirNow(reading, at) if reading is not None else None


def _hours(air: Air, at: datetime) -> list[tuple[ForecastHour, str]]:
    """Return the next hours of the forecast, each with its frost in words where there is any."""
    from_now = at - timedelta(hours=1)
    hours = [hour for hour in forecast_hours(air.forecast) if hour.at > from_now][:SHOWN_HOURS]
    return [(hour, _frost(hour)) for hour in hours]


def _frost(hour: ForecastHour) -> str:
    risk = frost_risk(hour.celsius, hour.humidity_percent)
    return "" if risk is Frost.NONE else FROST_WORDS[risk]
