"""What callers see of how long work takes and of how dirty cars come in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, cast
from uuid import UUID

from core.api.answers import Answer
from jobs.work.answers.jobs.outputs import TaskOutput
from jobs.work.calc.minutes.durations import Forecast
from jobs.work.calc.minutes.soiling import LEVELS, SoilingLevel
from jobs.work.models import Job, Task
from jobs.work.selectors.minutes import AskedAbout, Durations, Estimate, OperationTime


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastOutput(Answer):
    """How long something takes, in person-minutes."""

    p50_minutes: Annotated[int, "Likely: as often less as more."]
    p80_minutes: Annotated[int, "Four of five stay within."]
    observations: Annotated[
        float,
        "How much your history says: as much as so many finished tasks of this very kind. "
        "0: the standard minutes speak alone.",
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationTimeOutput(ForecastOutput):
    """How long one operation takes at the workshop."""

    operation: str
    name: str
    stage: str
    standard_minutes: int
    finished: Annotated[int, "Finished tasks that count."]
    waiting: Annotated[int, "Left out until somebody says what is right."]
    unmeasured: Annotated[int, "Finished without a clock; left out."]


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedOutput(Answer):
    """A finished task whose minutes wait for an answer."""

    job_id: UUID
    task_id: UUID
    registration: str
    operation: str
    name: str
    minutes: Annotated[int, "As measured."]
    p50_minutes: Annotated[int, "What is likely for such work here."]
    finished_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class DurationsOutput(Answer):
    """How long work takes at the workshop."""

    learnt_from: Annotated[int, "Finished tasks of the newest 2,000."]
    waiting: Annotated[int, "Tasks whose minutes are asked about."]
    operations: Sequence[OperationTimeOutput]
    asked: Annotated[Sequence[AskedOutput], "The newest 50 of those asked about."]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenTaskOutput(ForecastOutput):
    """How long an open task still takes; what was worked on it is not in the forecast."""

    task_id: UUID
    operation: str
    name: str
    state: str
    planned_minutes: int
    worked_minutes: Annotated[
        int, "Worked on it so far, running clocks included; not in the forecast."
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateOutput(ForecastOutput):
    """How long all open tasks of a car still take together, and each of them.

    Minutes that were worked already are in none of the forecasts. The whole is not the sum of the
    parts: four of five of each do not come together.
    """

    job_id: UUID
    soiling: Annotated[int | None, "Empty: nobody said yet."]
    learnt_from: Annotated[int, "Finished tasks of the newest 2,000."]
    tasks: Sequence[OpenTaskOutput]


class TaskMinutesOutput(TaskOutput):
    """The task, what was measured and what somebody told."""

    class Meta:
        model = Task
        fields = (*TaskOutput.Meta.fields, "doubt", "told_minutes")


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilingLevelOutput(Answer):
    """One level of dirt."""

    level: int
    name: str
    words: Annotated[str, "How to tell it."]
    caution: Annotated[str, "Before anybody gets in."]
    svg: Annotated[str, "A drawing in the colour of the text around it."]


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilingLevelsOutput(Answer):
    """The levels, the cleanest first."""

    levels: Sequence[SoilingLevelOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilingOutput(Answer):
    """How dirty a car came in, as it now stands."""

    job_id: UUID
    level: int
    name: str
    words: str
    caution: str


def _in_minutes(forecast: Forecast) -> dict[str, Any]:
    """Return the fields of ForecastOutput."""
    return {
        "p50_minutes": round(forecast.likely),
        "p80_minutes": round(forecast.four_of_five),
        "observations": round(forecast.observations, 1),
    }


def durations_shown(durations: Durations) -> DurationsOutput:
    """Return how long work takes, with what is asked about."""
    return DurationsOutput(
        learnt_from=durations.seen.learnt.finished,
        waiting=durations.asked_in_all,
        operations=[_operation_shown(operation) for operation in durations.operations],
        asked=[_asked_shown(question) for question in durations.asked],
    )


def _operation_shown(duration: OperationTime) -> OperationTimeOutput:
    return OperationTimeOutput(
        operation=duration.operation.code,
        name=duration.operation.name,
        stage=duration.operation.stage.value,
        standard_minutes=duration.operation.standard_minutes,
        **_in_minutes(duration.forecast),
        finished=duration.finished,
        waiting=duration.waiting,
        unmeasured=duration.unmeasured,
    )


def _asked_shown(question: AskedAbout) -> AskedOutput:
    task = question.task  # finished and measured
    return AskedOutput(
        job_id=task.job_id,
        task_id=task.pk,
        registration=task.job.registration,
        operation=task.operation,
        name=task.name,
        minutes=cast("int", task.actual_minutes),
        p50_minutes=round(question.forecast.likely),
        finished_at=cast("datetime", task.finished_at),
    )


def estimate_shown(estimate: Estimate) -> EstimateOutput:
    """Return how long a car's open tasks still take."""
    return EstimateOutput(
        job_id=estimate.job.pk,
        soiling=estimate.job.soiling,
        learnt_from=estimate.learnt_from,
        **_in_minutes(estimate.whole),
        tasks=[
            OpenTaskOutput(
                task_id=task.pk,
                operation=task.operation,
                name=task.name,
                state=task.state,
                planned_minutes=task.planned_minutes,
                worked_minutes=worked,
                **_in_minutes(forecast),
            )
            for task, worked, forecast in estimate.tasks
        ],
    )


def level_shown(level: SoilingLevel) -> SoilingLevelOutput:
    """Return a level of dirt with its picture."""
    return SoilingLevelOutput(
        level=level.level,
        name=level.name,
        words=level.words,
        caution=level.caution,
        svg=level.svg,
    )


def soiling_shown(job: Job) -> SoilingOutput:
    """Return how dirty a car came in; the job has a level."""
    level = LEVELS[job.soiling or 0]
    return SoilingOutput(
        job_id=job.pk,
        level=level.level,
        name=level.name,
        words=level.words,
        caution=level.caution,
    )
