"""The air at the desk: what it is like now, the last day, the forecast, and what waits for it."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from accounts.caller import Access, Caller
from core.clock import now
from core.forms import Field, PageForm
from core.problems import InvalidRequest
from jobs.desk.air_chart import DAY, HEIGHT, WIDTH, charts, hours
from jobs.desk.base import MANAGERS, DeskPage
from jobs.desk.selectors.curing import workshop_clocks
from jobs.work.answers.air.examples import FORECAST
from jobs.work.calc.air.climate import frost_risk
from jobs.work.calc.air.doubts import LATE_REASON, STUCK_REASON
from jobs.work.calc.air.forecasts import ForecastHour
from jobs.work.inputs.air.readings import ClimateSetupInput, ReadingInput
from jobs.work.models import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.selectors.air import Air, air_of, forecast_hours, is_stale, setup_of
from jobs.work.services.air.readings import (
    Measured,
    Outcome,
    Taken,
    climate_setup_change,
    readings_take,
)
from jobs.work.words.air import PLACES, AirNow
from jobs.work.words.curing import DATA_SHEET, in_order

HOUR = timedelta(hours=1)
HOURS_SHOWN = 24
REASONS = {ClimateReading.Mark.LATE: LATE_REASON, ClimateReading.Mark.STUCK: STUCK_REASON}
# Times written down in the documented shape, as the example of the API has them.
SHAPE = json.dumps({**FORECAST, "hours": FORECAST["hours"][:2]}, indent=2)


@dataclass(frozen=True, slots=True)
class HourAhead:
    """One hour of the forecast, with how near frost is in it."""

    hour: ForecastHour

    @property
    def frost(self) -> str:
        """Return in a word how near frost is."""
        return frost_risk(self.hour.celsius, self.hour.humidity_percent).value


def reading_fields() -> list[Field]:
    """Return the fields of a reading taken by hand."""
    return [
        Field("place", "Where", "choice", choices=list(PLACES.items()), value="workshop"),
        Field("celsius", "Temperature of the air, °C", required=True),
        Field("humidity_percent", "Humidity of the air, %", hint="If you have a gauge for it."),
        Field(
            "surface_celsius",
            "Temperature of a panel, °C",
            hint="If you measured one: a cold panel is nearer the dew point than the air.",
        ),
        Field("at", "When", "datetime", hint="Left empty: now."),
    ]


def setup_fields() -> list[Field]:
    """Return the fields of what a workshop chooses about the air."""
    return [
        Field(
            "ready_by_itself",
            "A car in curing becomes ready by itself",
            "checkbox",
            hint="Once the last of what cures or dries is done, where nothing holds it and no "
            "task is open. What dries is done only when somebody has felt it.",
        ),
        Field(
            "air",
            "What moves the air over wet seats and carpets",
            "choice",
            choices=[(value, str(label)) for value, label in ClimateSetup.Air.choices],
        ),
        Field(
            "forecast_url",
            "Address of a forecast",
            "url",
            longest=500,
            hint="Fetched every hour. Leave it empty, and none is fetched.",
        ),
    ]


class ClimatePage(DeskPage):
    """What shows the air, perhaps with what is wrong in one of its two forms."""

    def shown(
        self,
        request: HttpRequest,
        caller: Caller,
        *,
        measured: PageForm | None = None,
        chosen: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        """Render the page."""
        at = now()
        air = air_of(caller.organisation_id, since=at - DAY, at=at)
        clocks, more = workshop_clocks(caller, at)
        waits = in_order(clocks, at)
        return self.page(
            request,
            caller,
            "jobs/desk/climate/climate.html",
            status=status,
            here="set_up",
            form=measured or chosen,
            measured=measured or PageForm(ReadingInput, reading_fields()),
            chosen=chosen or setup_form(air.setup),
            now=[(words, self.last_at(air, place, at)) for place, words in PLACES.items()],
            waits=waits,
            to_test=sum(wait.to_test for wait in waits),
            more_clocks=len(clocks) if more else 0,
            data_sheet=DATA_SHEET,
            **self.last_day(air, at),
            **self.ahead(air, at),
        )

    @staticmethod
    def last_at(air: Air, place: str, at: datetime) -> AirNow | None:
        """Return what was measured last at a place, or None where nobody ever did."""
        latest = air.latest.get(place)
        return AirNow(latest, at) if latest else None

    @staticmethod
    def last_day(air: Air, at: datetime) -> dict[str, Any]:
        """Return what is drawn of the last day, and told of it hour by hour."""
        marks = {reading.mark for reading in air.readings}
        return {
            "charts": charts(air.readings, at),
            "hours": hours(air.readings, at),
            "any_stuck": ClimateReading.Mark.STUCK in marks,
            "reasons": [words for mark, words in REASONS.items() if mark in marks],
            "more_readings": len(air.readings) if air.more else 0,
            "width": WIDTH,
            "height": HEIGHT,
            "half": HEIGHT // 2,
        }

    @staticmethod
    def ahead(air: Air, at: datetime) -> dict[str, Any]:
        """Return what is forecast, how old that is, and how fetching it goes."""
        coming = hours_ahead(air.forecast, at)
        return {
            "forecast": air.forecast,
            "stale": air.forecast is not None and is_stale(air.forecast, at=at),
            "coming": coming[:HOURS_SHOWN],
            "coming_more": len(coming[HOURS_SHOWN:]),
            "setup": air.setup,
            "shape": SHAPE,
        }


def hours_ahead(forecast: Forecast | None, at: datetime) -> Sequence[HourAhead]:
    """Return the hours of a forecast that are not over."""
    return [HourAhead(hour) for hour in forecast_hours(forecast) if hour.at + HOUR > at]


def setup_form(setup: ClimateSetup) -> PageForm:
    """Return the form of what a workshop chose, as it stands."""
    names = ("ready_by_itself", "air", "forecast_url")
    standing = {name: getattr(setup, name) for name in names}
    return PageForm(ClimateSetupInput, setup_fields(), standing=standing, partial=True)


class DeskClimate(ClimatePage):
    """The air; a reading by hand is sent here."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it."""
        return self.shown(request, caller)

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Take a reading down."""
        form = PageForm(ReadingInput, reading_fields(), typed=request.POST)
        if not form.is_valid():
            return self.shown(request, caller, measured=form, status=400)
        values = {"at": now(), **form.values}
        (taken,) = readings_take(caller=caller, measured=[Measured(**values)])
        if taken.outcome is Outcome.REFUSED:
            form.add([{"field": "at", "message": taken.message}])
            return self.shown(request, caller, measured=form, status=400)
        known = taken.outcome is Outcome.KNOWN
        said = "This reading stood already" if known else "The reading is written down"
        more = f" {taken.message}" if taken.message else ""
        clocks = "; what cures or dries is worked out anew with it." if self.counts(taken) else "."
        return self.done(request, reverse("desk_climate"), f"{said}{clocks}{more}")

    @staticmethod
    def counts(taken: Taken) -> bool:
        """Return whether clocks go by it."""
        return taken.outcome is not Outcome.KNOWN and taken.reading.place == Place.WORKSHOP


class DeskClimateSetup(ClimatePage):
    """What a workshop chooses about the air."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGERS}

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Choose it."""
        form = PageForm(ClimateSetupInput, setup_fields(), typed=request.POST, partial=True)
        if not form.is_valid():
            return self.shown(request, caller, chosen=form, status=400)
        before, wanted = setup_of(caller.organisation_id).forecast_url, form.values["forecast_url"]
        try:
            climate_setup_change(caller=caller, changes=form.taken)
        except InvalidRequest as problem:
            form.add_problem(problem)
            return self.shown(request, caller, chosen=form, status=problem.status)
        fresh = wanted and wanted != before
        onward = " The forecast is fetched within a minute; look here how it went." if fresh else ""
        return self.done(request, reverse("desk_climate"), f"Saved.{onward}")
