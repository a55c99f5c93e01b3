"""Readings and a forecast as they were sent, each taken in and answered on its own."""

from collections.abc import Sequence
from typing import Any

from rest_framework.exceptions import ValidationError

from accounts.caller import Caller
from core.api.errors import as_problem
from core.clock import now
from core.problems import FieldError, InvalidRequest
from jobs.work.answers.air import shown
from jobs.work.answers.air.outputs import ForecastTakenOutput, ReadingTakenOutput
from jobs.work.inputs.air.readings import ReadingInput
from jobs.work.models import Forecast, Place
from jobs.work.services.air.forecasts import forecast_take
from jobs.work.services.air.readings import Measured, Outcome, readings_take

ALL_WRONG = "Correct the fields named in errors and send it again; nothing was taken."


def code_of(error: ValidationError) -> str:
    """Return the code of the first thing wrong."""
    codes: Any = error.get_codes()
    while isinstance(codes, (dict, list)):
        codes = next(iter(codes.values() if isinstance(codes, dict) else codes))
    return str(codes)


def take_readings(caller: Caller, sent: Sequence[Any]) -> list[ReadingTakenOutput]:
    """Take in the readings that are right, and return what became of each in the order sent."""
    lines: dict[int, ReadingTakenOutput] = {}
    measured: dict[int, Measured] = {}
    for index, raw in enumerate(sent):
        form = ReadingInput(data=raw)
        try:
            form.is_valid(raise_exception=True)
        except ValidationError as error:
            lines[index] = _refused(index + 1, error)
        else:
            measured[index] = _measured(form.validated_data)
    if measured:
        taken = readings_take(caller=caller, measured=list(measured.values()))
        for index, result in zip(measured, taken, strict=True):
            lines[index] = shown.line(index + 1, result)
    return [lines[index] for index in range(len(sent))]


def _measured(values: dict[str, Any]) -> Measured:
    return Measured(
        at=values.get("at") or now(),
        celsius=values["celsius"],
        humidity_percent=values.get("humidity_percent"),
        surface_celsius=values.get("surface_celsius"),
        place=values.get("place", Place.WORKSHOP),
        sensor=values.get("sensor", ""),
    )


def _refused(number: int, error: ValidationError) -> ReadingTakenOutput:
    problem = as_problem(error)
    return ReadingTakenOutput(
        line=number,
        outcome=Outcome.REFUSED,
        code=code_of(error),
        message=problem.detail,
        errors=problem.errors,
        reading=None,
    )


def take_forecast(caller: Caller, sent: Any) -> ForecastTakenOutput:
    """Take a forecast in, and return what became of it."""
    try:
        taken = forecast_take(
            workshop_id=caller.organisation_id, document=sent, way=Forecast.Way.POSTED
        )
    except InvalidRequest as problem:
        return ForecastTakenOutput(
            outcome=Outcome.REFUSED,
            code=problem.extra["code"],
            message=problem.detail,
            errors=problem.errors,
            issued_at=None,
        )
    outcome = Outcome.TAKEN if taken.taken else Outcome.KNOWN
    known = "This forecast, or a newer one, stands already."
    return ForecastTakenOutput(
        outcome=outcome,
        code="",
        message="" if taken.taken else known,
        errors=[],
        issued_at=taken.forecast.issued_at,
    )


def refuse_where_all_is_wrong(
    lines: Sequence[ReadingTakenOutput], forecast: ForecastTakenOutput | None, *, places: bool
) -> None:
    """Raise InvalidRequest, with every field named, where nothing that was sent could be taken.

    `places`: the readings came in a list, and their fields are named by their place in it.
    """
    answers: list[ReadingTakenOutput | ForecastTakenOutput] = list(lines)
    answers += [forecast] if forecast else []
    if any(taken.outcome != Outcome.REFUSED for taken in answers):
        return
    errors: list[FieldError] = [
        {
            "field": f"readings.{index}.{error['field']}" if places else error["field"],
            "message": error["message"],
        }
        for index, line in enumerate(lines)
        for error in line.errors
    ]
    errors += forecast.errors if forecast else []
    more = "" if len(answers) == 1 else f" Nothing of the {len(answers)} could be taken."
    raise InvalidRequest(
        f"{answers[0].message}{more}",
        next_step=ALL_WRONG,
        errors=errors,
        extra={"code": answers[0].code, "readings": list(lines), "forecast": forecast},
    )
