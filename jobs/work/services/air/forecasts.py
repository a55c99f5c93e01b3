"""The forecast: a good one takes the place of the last, a bad one never does."""

from dataclasses import dataclass
from datetime import UTC
from typing import Any
from uuid import UUID

from django.db import transaction

from core.clock import now
from core.problems import FieldError, InvalidRequest
from jobs.work.calc.air.forecasts import ForecastHour, ForecastRead, Wrong, read_forecast
from jobs.work.models import Forecast
from jobs.work.services.air.readings import setup_for_change

MOST_NAMED = 20


@dataclass(frozen=True, slots=True)
class ForecastTaken:
    """The forecast that stands now; `taken` is false where it, or a newer one, stood already."""

    forecast: Forecast
    taken: bool


@transaction.atomic
def forecast_take(*, workshop_id: UUID, document: Any, way: Forecast.Way) -> ForecastTaken:
    """Read a forecast and let it take the place of the last, unless a newer one stands.

    Raises InvalidRequest naming each field that is not right; the last good one then stays.
    """
    moment = now()
    read = read_forecast(document, at=moment)
    if read.wrong:
        raise _not_right(read.wrong)
    setup_for_change(workshop_id)
    stands = Forecast.objects.filter(workshop_id=workshop_id).first()
    if stands is not None and _known(stands, read):
        return ForecastTaken(stands, taken=False)
    forecast = Forecast(
        workshop_id=workshop_id,
        way=way,
        issued_at=read.issued_at,
        received_at=moment,
        hours=[_stored(hour) for hour in read.hours],
    )
    forecast.save(force_insert=stands is None)
    return ForecastTaken(forecast, taken=True)


def _known(stands: Forecast, read: ForecastRead) -> bool:
    if read.issued_at < stands.issued_at:
        return True
    same = stands.hours == [_stored(hour) for hour in read.hours]
    return same and read.issued_at == stands.issued_at


def _stored(hour: ForecastHour) -> dict[str, Any]:
    return {
        "at": hour.at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "celsius": hour.celsius,
        "humidity_percent": hour.humidity_percent,
        "rain_chance_percent": hour.rain_chance_percent,
    }


def _not_right(wrong: tuple[Wrong, ...]) -> InvalidRequest:
    errors: list[FieldError] = [
        {"field": ".".join(filter(None, ("forecast", fault.field))), "message": fault.message}
        for fault in wrong[:MOST_NAMED]
    ]
    first = errors[0]
    more = f" {len(wrong)} fields are not right." if len(wrong) > 1 else ""
    return InvalidRequest(
        f"{first['field']}: {first['message']}{more}",
        next_step="Correct it and send it again; the last good forecast stays until then.",
        errors=errors,
        extra={"code": wrong[0].code},
    )
