"""What callers see of how long work takes and of how dirty cars come in."""

from typing import Any

from rest_framework import serializers

from jobs.work.answers.jobs.outputs import TaskOutput
from jobs.work.calc.minutes.durations import Forecast
from jobs.work.calc.minutes.soiling import LEVELS, SoilingLevel
from jobs.work.models import Job, Task
from jobs.work.selectors.minutes import AskedAbout, Durations, Estimate, OperationTime


class ForecastOutput(serializers.Serializer[Any]):
    """How long something takes, in person-minutes."""

    p50_minutes = serializers.IntegerField(help_text="Likely: as often less as more.")
    p80_minutes = serializers.IntegerField(help_text="Four of five stay within.")
    observations = serializers.FloatField(
        help_text="How much your history says: as much as so many finished tasks of this very "
        "kind. 0: the standard minutes speak alone."
    )


class OperationTimeOutput(ForecastOutput):
    """How long one operation takes at the workshop."""

    operation = serializers.CharField()
    name = serializers.CharField()
    stage = serializers.CharField()
    standard_minutes = serializers.IntegerField()
    finished = serializers.IntegerField(help_text="Finished tasks that count.")
    waiting = serializers.IntegerField(help_text="Left out until somebody says what is right.")
    unmeasured = serializers.IntegerField(help_text="Finished without a clock; left out.")


class AskedOutput(serializers.Serializer[Any]):
    """A finished task whose minutes wait for an answer."""

    job_id = serializers.UUIDField()
    task_id = serializers.UUIDField()
    registration = serializers.CharField()
    operation = serializers.CharField()
    name = serializers.CharField()
    minutes = serializers.IntegerField(help_text="As measured.")
    p50_minutes = serializers.IntegerField(help_text="What is likely for such work here.")
    finished_at = serializers.DateTimeField()


class DurationsOutput(serializers.Serializer[Any]):
    """How long work takes at the workshop."""

    learnt_from = serializers.IntegerField(help_text="Finished tasks of the newest 2,000.")
    waiting = serializers.IntegerField(help_text="Tasks whose minutes are asked about.")
    operations = OperationTimeOutput(many=True)
    asked = AskedOutput(many=True, help_text="The newest 50 of those asked about.")


class OpenTaskOutput(ForecastOutput):
    """How long an open task still takes; what was worked on it is not in the forecast."""

    task_id = serializers.UUIDField()
    operation = serializers.CharField()
    name = serializers.CharField()
    state = serializers.CharField()
    planned_minutes = serializers.IntegerField()
    worked_minutes = serializers.IntegerField(
        help_text="Worked on it so far, running clocks included; not in the forecast."
    )


class EstimateOutput(ForecastOutput):
    """How long all open tasks of a car still take together, and each of them.

    Minutes that were worked already are in none of the forecasts. The whole is not the sum of the
    parts: four of five of each do not come together.
    """

    job_id = serializers.UUIDField()
    soiling = serializers.IntegerField(allow_null=True, help_text="Empty: nobody said yet.")
    learnt_from = serializers.IntegerField(help_text="Finished tasks of the newest 2,000.")
    tasks = OpenTaskOutput(many=True)


class TaskMinutesOutput(TaskOutput):
    """The task, what was measured and what somebody told."""

    class Meta:
        model = Task
        fields = (*TaskOutput.Meta.fields, "doubt", "told_minutes")


class SoilingLevelOutput(serializers.Serializer[Any]):
    """One level of dirt."""

    level = serializers.IntegerField()
    name = serializers.CharField()
    words = serializers.CharField(help_text="How to tell it.")
    caution = serializers.CharField(allow_blank=True, help_text="Before anybody gets in.")
    svg = serializers.CharField(help_text="A drawing in the colour of the text around it.")


class SoilingLevelsOutput(serializers.Serializer[Any]):
    """The levels, the cleanest first."""

    levels = SoilingLevelOutput(many=True)


class SoilingOutput(serializers.Serializer[Any]):
    """How dirty a car came in, as it now stands."""

    job_id = serializers.UUIDField()
    level = serializers.IntegerField()
    name = serializers.CharField()
    words = serializers.CharField()
    caution = serializers.CharField(allow_blank=True)


def forecast_shown(forecast: Forecast) -> dict[str, Any]:
    """Return a forecast in whole minutes."""
    return {
        "p50_minutes": round(forecast.likely),
        "p80_minutes": round(forecast.four_of_five),
        "observations": round(forecast.observations, 1),
    }


def durations_shown(durations: Durations) -> dict[str, Any]:
    """Return how long work takes, with what is asked about."""
    return {
        "learnt_from": durations.seen.learnt.finished,
        "waiting": durations.asked_in_all,
        "operations": [_operation_shown(operation) for operation in durations.operations],
        "asked": [_asked_shown(one) for one in durations.asked],
    }


def _operation_shown(one: OperationTime) -> dict[str, Any]:
    return {
        "operation": one.operation.code,
        "name": one.operation.name,
        "stage": one.operation.stage.value,
        "standard_minutes": one.operation.standard_minutes,
        **forecast_shown(one.forecast),
        "finished": one.finished,
        "waiting": one.waiting,
        "unmeasured": one.unmeasured,
    }


def _asked_shown(one: AskedAbout) -> dict[str, Any]:
    task = one.task
    return {
        "job_id": task.job_id,
        "task_id": task.pk,
        "registration": task.job.registration,
        "operation": task.operation,
        "name": task.name,
        "minutes": task.actual_minutes,
        "p50_minutes": round(one.forecast.likely),
        "finished_at": task.finished_at,
    }


def estimate_shown(estimate: Estimate) -> dict[str, Any]:
    """Return how long a car's open tasks still take."""
    return {
        "job_id": estimate.job.pk,
        "soiling": estimate.job.soiling,
        "learnt_from": estimate.learnt_from,
        **forecast_shown(estimate.whole),
        "tasks": [
            {
                "task_id": task.pk,
                "operation": task.operation,
                "name": task.name,
                "state": task.state,
                "planned_minutes": task.planned_minutes,
                "worked_minutes": worked,
                **forecast_shown(forecast),
            }
            for task, worked, forecast in estimate.tasks
        ],
    }


def level_shown(level: SoilingLevel) -> dict[str, Any]:
    """Return a level of dirt with its picture."""
    return {
        "level": level.level,
        "name": level.name,
        "words": level.words,
        "caution": level.caution,
        "svg": level.svg,
    }


def soiling_shown(job: Job) -> dict[str, Any]:
    """Return how dirty a car came in; the job has a level."""
    shown = level_shown(LEVELS[job.soiling or 0])
    return {
        "job_id": job.pk,
        **{name: shown[name] for name in ("level", "name", "words", "caution")},
    }
