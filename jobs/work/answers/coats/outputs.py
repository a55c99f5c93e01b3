"""What callers see of refinishing and of the things a dealer supplied."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated
from uuid import UUID

from rest_framework import serializers

from core.api.answers import Answer
from jobs.work.calc.catalogue.workshop import STANDARD, Catalogue
from jobs.work.calc.coats import (
    GUIDE,
    PARTS,
    CoatKind,
    Coats,
    Part,
    Step,
    dry_to_handle_at,
    is_flashing_off,
    next_coat_from,
)
from jobs.work.calc.curing.cure import Reading
from jobs.work.models import Coat, Task
from jobs.work.selectors.coats import AWAITED, SuppliedItem

KINDS = [(kind.value, kind.value) for kind in CoatKind]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatsOutput(Answer):
    """How many coats of a kind are usual, and their usual flash-off."""

    kind: Annotated[str, serializers.ChoiceField(KINDS)]
    fewest: Annotated[int, "0: often left out."]
    most: int
    flash_off_minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepOutput(Answer):
    """One step on one kind of part."""

    operation: str
    name: str
    work: Annotated[str, "What to do."]
    caution: str
    coats: CoatsOutput | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartOutput(Answer):
    """A kind of part with its steps in order."""

    operation: Annotated[str, "The operation that refinishes it."]
    name: str
    caution: str
    handle_after_minutes: Annotated[int, "From the last coat."]
    steps: Sequence[StepOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsOutput(Answer):
    """The steps of refinishing small parts."""

    guide: str
    parts: Sequence[PartOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatOutput(Answer):
    """One coat and its timer."""

    id: UUID
    task_id: UUID
    number: Annotated[int, "1, 2, 3 … within the task."]
    kind: Annotated[str, serializers.ChoiceField(KINDS)]
    flash_off_minutes: int
    applied_at: datetime
    flashed_off_at: Annotated[datetime | None, "Empty: it is too cold for anybody to say."]
    flashing_off: Annotated[bool, "As of now."]
    early: Annotated[bool, "It went on before the last had flashed off."]
    reason: str
    actor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatedTaskOutput(Answer):
    """A task's coats in order, and what their timers say as of now."""

    task_id: UUID
    operation: str
    name: str
    flashing_off: Annotated[bool, "As of now."]
    next_coat_from: Annotated[datetime | None, "Empty: it is too cold for anybody to say."]
    dry_to_handle_at: Annotated[
        datetime | None, "By the air since the last coat; empty: it is too cold."
    ]
    coats: Sequence[CoatOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatedTasksOutput(Answer):
    """Every task of the job that has coats."""

    tasks: Sequence[CoatedTaskOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class SuppliedItemOutput(Answer):
    """One thing the dealer supplies, and what became of it."""

    item: str
    on_order: Annotated[bool, "False: taken off the order since."]
    state: Annotated[str, serializers.ChoiceField([AWAITED, "received", "fitted", "not_used"])]
    note: str
    occurred_at: datetime | None
    actor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SuppliedOutput(Answer):
    """Everything the dealer supplies for the job."""

    items: Sequence[SuppliedItemOutput]


def steps_shown(catalogue: Catalogue = STANDARD) -> StepsOutput:
    """Return the steps as they are shown, in the words of a workshop's catalogue."""
    parts = [_part_shown(part, catalogue) for part in PARTS.values()]
    return StepsOutput(guide=GUIDE, parts=parts)


def _part_shown(part: Part, catalogue: Catalogue) -> PartOutput:
    operation = catalogue.operations[part.operation]
    return PartOutput(
        operation=operation.code,
        name=operation.name,
        caution=operation.caution_on(),
        handle_after_minutes=part.handle_after_minutes,
        steps=[_step_shown(step, catalogue) for step in part.steps],
    )


def _step_shown(step: Step, catalogue: Catalogue) -> StepOutput:
    operation = catalogue.operations[step.operation]
    return StepOutput(
        operation=operation.code,
        name=operation.name,
        work=step.work,
        caution=operation.caution_on(),
        coats=_coats_shown(step.coats) if step.coats else None,
    )


def _coats_shown(coats: Coats) -> CoatsOutput:
    return CoatsOutput(
        kind=coats.kind.value,
        fewest=coats.fewest,
        most=coats.most,
        flash_off_minutes=coats.flash_off_minutes,
    )


def coat_shown(coat: Coat, *, at: datetime) -> CoatOutput:
    """Return a coat as it is shown, as of a time."""
    return CoatOutput(
        id=coat.pk,
        task_id=coat.task_id,
        number=coat.number,
        kind=coat.kind,
        flash_off_minutes=coat.flash_off_minutes,
        applied_at=coat.applied_at,
        flashed_off_at=coat.flashed_off_at,
        flashing_off=is_flashing_off([coat.timer], at=at),
        early=coat.early,
        reason=coat.reason,
        actor=coat.actor,
    )


def coated_shown(task: Task, readings: Sequence[Reading], *, at: datetime) -> CoatedTaskOutput:
    """Return a task with its coats as they are shown, as of a time, by the readings of the air."""
    coats = list(task.coats.all())
    timers = [coat.timer for coat in coats]
    return CoatedTaskOutput(
        task_id=task.pk,
        operation=task.operation,
        name=task.name,
        flashing_off=is_flashing_off(timers, at=at),
        next_coat_from=next_coat_from(timers),
        dry_to_handle_at=dry_to_handle_at(task.operation, timers, readings),
        coats=[coat_shown(coat, at=at) for coat in coats],
    )


def supplied_shown(supplied: SuppliedItem) -> SuppliedItemOutput:
    """Return a supplied item as it is shown."""
    tick = supplied.tick
    return SuppliedItemOutput(
        item=supplied.item,
        on_order=supplied.on_order,
        state=supplied.state,
        note=tick.note if tick else "",
        occurred_at=tick.occurred_at if tick else None,
        actor=tick.actor if tick else "",
    )
