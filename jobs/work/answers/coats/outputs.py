"""What callers see of refinishing and of the things a dealer supplied."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from rest_framework import serializers

from core.api.serializers import ZonedDateTimeField
from jobs.work.calc.catalogue.workshop import STANDARD, Catalogue
from jobs.work.calc.coats import (
    GUIDE,
    PARTS,
    CoatKind,
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


class CoatsOutput(serializers.Serializer[Any]):
    """How many coats of a kind are usual, and their usual flash-off."""

    kind = serializers.ChoiceField(KINDS)
    fewest = serializers.IntegerField(help_text="0: often left out.")
    most = serializers.IntegerField()
    flash_off_minutes = serializers.IntegerField()


class StepOutput(serializers.Serializer[Any]):
    """One step on one kind of part."""

    operation = serializers.CharField()
    name = serializers.CharField()
    work = serializers.CharField(help_text="What to do.")
    caution = serializers.CharField()
    coats = CoatsOutput(allow_null=True)


class PartOutput(serializers.Serializer[Any]):
    """A kind of part with its steps in order."""

    operation = serializers.CharField(help_text="The operation that refinishes it.")
    name = serializers.CharField()
    caution = serializers.CharField()
    handle_after_minutes = serializers.IntegerField(help_text="From the last coat.")
    steps = StepOutput(many=True)


class StepsOutput(serializers.Serializer[Any]):
    """The steps of refinishing small parts."""

    guide = serializers.CharField()
    parts = PartOutput(many=True)


class CoatOutput(serializers.Serializer[Any]):
    """One coat and its timer."""

    id = serializers.UUIDField()
    task_id = serializers.UUIDField()
    number = serializers.IntegerField(help_text="1, 2, 3 … within the task.")
    kind = serializers.ChoiceField(KINDS)
    flash_off_minutes = serializers.IntegerField()
    applied_at = ZonedDateTimeField()
    flashed_off_at = ZonedDateTimeField(
        allow_null=True, help_text="Empty: it is too cold for anybody to say."
    )
    flashing_off = serializers.BooleanField(help_text="As of now.")
    early = serializers.BooleanField(help_text="It went on before the last had flashed off.")
    reason = serializers.CharField(allow_blank=True)
    actor = serializers.CharField()


class CoatedTaskOutput(serializers.Serializer[Any]):
    """A task's coats in order, and what their timers say as of now."""

    task_id = serializers.UUIDField()
    operation = serializers.CharField()
    name = serializers.CharField()
    flashing_off = serializers.BooleanField(help_text="As of now.")
    next_coat_from = ZonedDateTimeField(
        allow_null=True, help_text="Empty: it is too cold for anybody to say."
    )
    dry_to_handle_at = ZonedDateTimeField(
        allow_null=True, help_text="By the air since the last coat; empty: it is too cold."
    )
    coats = CoatOutput(many=True)


class CoatedTasksOutput(serializers.Serializer[Any]):
    """Every task of the job that has coats."""

    tasks = CoatedTaskOutput(many=True)


class SuppliedItemOutput(serializers.Serializer[Any]):
    """One thing the dealer supplies, and what became of it."""

    item = serializers.CharField()
    on_order = serializers.BooleanField(help_text="False: taken off the order since.")
    state = serializers.ChoiceField([AWAITED, "received", "fitted", "not_used"])
    note = serializers.CharField(allow_blank=True)
    occurred_at = ZonedDateTimeField(allow_null=True)
    actor = serializers.CharField(allow_blank=True)


class SuppliedOutput(serializers.Serializer[Any]):
    """Everything the dealer supplies for the job."""

    items = SuppliedItemOutput(many=True)


def steps_shown(catalogue: Catalogue = STANDARD) -> dict[str, Any]:
    """Return the steps as they are shown, in the words of a workshop's catalogue."""
    return {"guide": GUIDE, "parts": [_part_shown(part, catalogue) for part in PARTS.values()]}


def _part_shown(part: Part, catalogue: Catalogue) -> dict[str, Any]:
    operation = catalogue.operations[part.operation]
    return {
        "operation": operation.code,
        "name": operation.name,
        "caution": operation.caution_on(),
        "handle_after_minutes": part.handle_after_minutes,
        "steps": [_step_shown(step, catalogue) for step in part.steps],
    }


def _step_shown(step: Step, catalogue: Catalogue) -> dict[str, Any]:
    operation = catalogue.operations[step.operation]
    coats = step.coats
    return {
        "operation": operation.code,
        "name": operation.name,
        "work": step.work,
        "caution": operation.caution_on(),
        "coats": coats
        and {
            "kind": coats.kind.value,
            "fewest": coats.fewest,
            "most": coats.most,
            "flash_off_minutes": coats.flash_off_minutes,
        },
    }


def coat_shown(coat: Coat, *, at: datetime) -> dict[str, Any]:
    """Return a coat as it is shown, as of a time."""
    return {
        "id": coat.pk,
        "task_id": coat.task_id,
        "number": coat.number,
        "kind": coat.kind,
        "flash_off_minutes": coat.flash_off_minutes,
        "applied_at": coat.applied_at,
        "flashed_off_at": coat.flashed_off_at,
        "flashing_off": is_flashing_off([coat.timer], at=at),
        "early": coat.early,
        "reason": coat.reason,
        "actor": coat.actor,
    }


def coated_shown(task: Task, readings: Sequence[Reading], *, at: datetime) -> dict[str, Any]:
    """Return a task with its coats as they are shown, as of a time, by the readings of the air."""
    coats = list(task.coats.all())
    timers = [coat.timer for coat in coats]
    return {
        "task_id": task.pk,
        "operation": task.operation,
        "name": task.name,
        "flashing_off": is_flashing_off(timers, at=at),
        "next_coat_from": next_coat_from(timers),
        "dry_to_handle_at": dry_to_handle_at(task.operation, timers, readings),
        "coats": [coat_shown(coat, at=at) for coat in coats],
    }


def supplied_shown(supplied: SuppliedItem) -> dict[str, Any]:
    """Return a supplied item as it is shown."""
    tick = supplied.tick
    return {
        "item": supplied.item,
        "on_order": supplied.on_order,
        "state": supplied.state,
        "note": tick.note if tick else "",
        "occurred_at": tick.occurred_at if tick else None,
        "actor": tick.actor if tick else "",
    }
