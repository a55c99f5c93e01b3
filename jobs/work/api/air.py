"""The air over HTTP: readings and a forecast in, what follows from them out, and the setup."""

from dataclasses import replace
from datetime import timedelta
from typing import Any, ClassVar

from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, workshops
from accounts.models import Person
from core.api.errors import as_problem
from core.api.examples import answered, sent
from core.api.parsing import OrjsonParser
from core.clock import now
from core.problems import InvalidRequest
from jobs.work.answers.air import examples, shown
from jobs.work.answers.air.outputs import (
    ClimateOutput,
    ClimateSetupOutput,
    ClimateTakenOutput,
    ForecastTakenOutput,
)
from jobs.work.inputs.air.csv_readings import read_readings
from jobs.work.inputs.air.readings import ClimateInput, ClimateSetupInput
from jobs.work.inputs.orders.csv_lines import CsvParser
from jobs.work.intake.air import (
    code_of,
    refuse_where_all_is_wrong,
    take_forecast,
    take_readings,
)
from jobs.work.selectors.air import air_of, setup_of
from jobs.work.services.air.readings import climate_setup_change

HOURS, MOST_HOURS = 24, 336
# The URL may hold a secret of the source's, and what is set there changes every car.
MANAGING = replace(workshops(Scope.WORK), roles=frozenset({Person.Role.OWNER, Person.Role.MANAGER}))


class Climate(ApiView):
    """The air of the workshop."""

    access: ClassVar[dict[str, Access]] = {
        "GET": workshops(Scope.READ),
        "POST": workshops(Scope.WORK),
    }
    query_names = frozenset({"hours"})
    parser_classes = [OrjsonParser, CsvParser]

    @extend_schema(
        operation_id="climate_read",
        tags=["climate"],
        parameters=[
            OpenApiParameter("hours", int, description="How far back: 1 to 336; 24 if left out.")
        ],
        responses={200: ClimateOutput},
        examples=[answered("A morning", examples.AIR)],
    )
    def get(self, request: Request) -> Response:
        """Read the air: the newest reading of each place, what was measured, the forecast.

        Readings of a sensor that is stuck are shown with their mark, and taken for the newest only
        where no other is of the last two hours: clocks go by their cold and damp. The forecast is
        the last good one, whatever came after it, with its age.
        """
        hours, at = _hours(request), now()
        workshop_id = caller_of(request).organisation_id
        known = air_of(workshop_id, since=at - timedelta(hours=hours), at=at)
        return Response(shown.air(known, at=at, hours=hours))

    @extend_schema(
        operation_id="climate_post",
        tags=["climate"],
        request={"application/json": ClimateInput, "text/csv": OpenApiTypes.STR},
        responses={200: ClimateTakenOutput},
        examples=[
            sent("One reading, now", examples.READING_SENT),
            sent("A series", examples.SERIES_SENT),
            sent("A forecast", examples.FORECAST_SENT),
            sent("A series as CSV", examples.CSV_SENT, "text/csv"),
            answered("Each on its own", examples.SERIES_TAKEN),
            answered("One reading", examples.READING_TAKEN),
        ],
    )
    def post(self, request: Request) -> Response:
        """Send readings of the air, a forecast, or both.

        Each reading is answered on its own: a bad one never stops the good ones, and only where
        nothing could be taken the answer is 400. Sent again they are known, and change nothing.
        One that comes after later ones is taken and marked; so is what a sensor repeats for a day
        or longer, and the latter counts as not measured. A forecast that is not right in every
        hour is refused as a whole, and the last good one stays.
        """
        caller = caller_of(request)
        body: Any = request.data
        forecast: ForecastTakenOutput | None = None
        if isinstance(body, str):
            lines, places = take_readings(caller, read_readings(body)), True
        else:
            values = self.read_coded(request)
            places = "readings" in values
            series = values.get("readings", [] if "forecast" in values else [body])
            lines = take_readings(caller, series) if series else []
            if "forecast" in values:
                forecast = take_forecast(caller, values["forecast"])
        refuse_where_all_is_wrong(lines, forecast, places=places)
        return Response(shown.taken_in(lines, forecast))

    def read_coded(self, request: Request) -> Any:
        """Return what was sent; a problem names the code of the first thing wrong as well."""
        try:
            return self.read(ClimateInput, request)
        except ValidationError as error:
            problem = as_problem(error)
            problem.extra["code"] = code_of(error)
            raise problem from error


def _hours(request: Request) -> int:
    text = request.query_params.get("hours", str(HOURS))
    if len(text) <= len(str(MOST_HOURS)) and text.isascii() and text.isdecimal():
        hours = int(text)
        if 1 <= hours <= MOST_HOURS:
            return hours
    message = f"Give a whole number from 1 to {MOST_HOURS}."
    raise InvalidRequest(f"hours: {message}", errors=[{"field": "hours", "message": message}])


class ClimateSetupDetail(ApiView):
    """What the workshop chose about its air."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGING, "PATCH": MANAGING}

    @extend_schema(
        operation_id="climate_setup_read",
        tags=["climate"],
        responses={200: ClimateSetupOutput},
        examples=[answered("With a URL", examples.SETUP)],
    )
    def get(self, request: Request) -> Response:
        """Read what the workshop chose; for owners, managers and systems."""
        caller = caller_of(request)
        return Response(ClimateSetupOutput(setup_of(caller.organisation_id)).data)

    @extend_schema(
        operation_id="climate_setup_change",
        tags=["climate"],
        request=ClimateSetupInput,
        responses={200: ClimateSetupOutput},
        examples=[sent("A fan and a URL", examples.SETUP_SENT), answered("It", examples.SETUP)],
    )
    def patch(self, request: Request) -> Response:
        """Change what is sent; for owners, managers and systems.

        A system wants the scope forecast.write for `forecast_url`.

        `forecast_url` is fetched at once and then every hour by GET, ten minutes after a failure.
        It has to answer 200 with `application/json` of what POST /workshop/climate takes as
        `forecast`: {"issued_at": "2027-03-01T08:00:00Z", "hours": [{"at":
        "2027-03-01T09:00:00Z", "celsius": 3.5, "humidity_percent": 81, "rain_chance_percent":
        10}, …]}, every hour in rising order, up to 400; issued_at, humidity_percent and
        rain_chance_percent may be left out or null. It goes to public addresses only, follows no
        redirect, unpacks nothing compressed, reads 256 KiB at most and waits 10 seconds. Whatever
        else it answers, the last good forecast stays, with its age.
        """
        caller = caller_of(request)
        changes = self.read(ClimateSetupInput, request, partial=True)
        changed = climate_setup_change(caller=caller, changes=changes)
        return Response(ClimateSetupOutput(changed).data)


urlpatterns = [
    path("workshop/climate", Climate.as_view()),
    path("workshop/climate/setup", ClimateSetupDetail.as_view()),
]
